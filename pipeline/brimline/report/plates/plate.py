"""A finished plate."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Plate:
    """One drawing of the report.

    Parameters
    ----------
    name : short word, unique in the report; part of identifiers in the SVG.
    title : above the plate.
    svg : one ``<svg>`` element.
    alt : what the drawing shows, for those who cannot see it.
    caption : beneath the plate: how to read it, and its limits.
    """

    name: str
    title: str
    svg: str
    alt: str
    caption: str
