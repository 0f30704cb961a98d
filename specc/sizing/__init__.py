"""The stage that chooses where a spec says "auto"."""
