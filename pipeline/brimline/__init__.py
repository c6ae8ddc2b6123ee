"""Water-harvesting earthworks from a terrain model, as plugin-free batch stages.

The package is a library of small rooms that depend on each other one way only (see
DEVELOPERS.md) and a command, ``brimline``, that runs them over a site.
"""

__version__ = "0.1.0"
