"""Tables of a clinic: a spreadsheet read to visits, cell by cell, and what is known written as tidy tables. Pure."""
