"""See the modules of this room."""
