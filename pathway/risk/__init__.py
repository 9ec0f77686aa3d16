"""How often a lengthening runs into trouble, pooled from published counts: pure, no file, no clock."""
