"""Recordings and live blocks to directions, measures and profiles."""
