"""Osteotomy of the upper femur: angles, correction, implant, shift of the shaft, drawing, and the sheet of them all."""
