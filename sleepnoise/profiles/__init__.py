"""Profiles: what a user might swap, in TOML files that name their sources."""
