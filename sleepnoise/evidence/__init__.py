"""What a result was made from, and its values as plain data: files, versions, JSON."""
