"""The axis of the whole leg: joint angles from landmarks, which bone is crooked, how much and where, rules of a cut."""

from pathway.worksheets.axis.worksheet import worksheet as worksheet
