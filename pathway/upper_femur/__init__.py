"""The upper femur in space: one model of bone, wire, implant and cut, which sheet, theatre page and plan share."""
