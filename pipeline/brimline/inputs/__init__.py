"""What a person drew, stated and measured, read into what the domain rooms take.

Frames become rows with types, tables of the configuration become rules; what cannot be meant is
told, every problem at once. Nothing is computed here.
"""
