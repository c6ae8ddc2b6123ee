"""One element at a time: its shape, its storage, its sill, its earthworks."""
