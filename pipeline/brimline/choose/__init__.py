"""What to choose before anything is drawn: where water is cheap to hold, which design is best."""
