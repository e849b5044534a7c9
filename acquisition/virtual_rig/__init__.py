"""A rig in software that speaks the real protocol and knows its own truth."""
