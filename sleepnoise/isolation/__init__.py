"""What keeps sound out: insertion losses of generic treatments."""
