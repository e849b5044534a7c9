"""The experts' reference: curves over the arc, their band, and the file it is kept in."""
