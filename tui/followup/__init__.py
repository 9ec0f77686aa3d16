"""A follow-up without a screen: what is asked first, what may be named, texts typed into events."""
