"""The command line: parse, read, call one function, print."""
