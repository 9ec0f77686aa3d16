"""Osteotomy of the upper femur: angles, correction, implant, shift of the shaft, drawing, and the sheet of them all."""

from pathway.worksheets.osteotomy.inputs import KIND as KIND
from pathway.worksheets.osteotomy.worksheet import ROLE as ROLE
from pathway.worksheets.osteotomy.worksheet import given_of as given_of
from pathway.worksheets.osteotomy.worksheet import worksheet as worksheet
