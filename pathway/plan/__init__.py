"""The plan: its model, how it is made from the other rooms, and the independent check of it."""
