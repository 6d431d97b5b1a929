"""Isolation and masking chosen together, so that events stay below an audibility margin."""
