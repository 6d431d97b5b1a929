"""The file formats of recorders and phones: where the sound lies in a file, and how it is decoded."""
