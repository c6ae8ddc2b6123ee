"""The command: words, colours, exit codes."""
