"""Layers in, domain calls, layers out: one module a stage."""
