"""The site's TOML file as validated values: one model a table."""
