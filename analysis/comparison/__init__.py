"""Somebody beside the experts, after beside before, one method beside another."""
