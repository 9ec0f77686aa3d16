"""Guided growth: is an angle abnormal for the age, how long a plate takes, what it does when it stays, a drawing."""

from pathway.worksheets.guided_growth.inputs import KIND as KIND
from pathway.worksheets.guided_growth.worksheet import ROLE as ROLE
from pathway.worksheets.guided_growth.worksheet import worksheet as worksheet
