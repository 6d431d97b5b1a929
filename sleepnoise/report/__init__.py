"""The results shown to people: terminal, page and tables."""
