"""Rows of the plan as they are read: what is usual where nothing is said."""

from dataclasses import fields

from brimline.layers import layer
from brimline.layers.drawn import usual_of


def drawn(kind, name, shape, **said):
    """Draw a row of a kind of the plan."""
    known = {field.name for field in fields(kind)}
    usual = {key: value for key, value in usual_of(layer(kind.LAYER)).items() if key in known}
    empty = {} if "empty" not in known else {"empty": tuple(known - set(said))}
    return kind(name=name, shape=shape, **(usual | empty | said))
