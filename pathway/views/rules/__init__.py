"""The rules as pages, sentences, a catalogue, and a sheet to review a clinic's own."""
