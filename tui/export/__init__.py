"""The export without a screen: which papers a child has, what each is called, how it is made and where it goes."""
