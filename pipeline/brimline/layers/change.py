"""What `brimline compare` writes: one file on what changed between two runs."""

from __future__ import annotations

from typing import Final

from brimline.layers.schema import Column, Geometry, Layer, Raster, Table


def _then_now(
    stem: str, meaning: str, unit: str, minimum: float | None = None
) -> tuple[Column, ...]:
    name, _, suffix = stem.partition("|")
    return tuple(
        Column(
            f"{name}_{when}_{suffix}", "float", f"{meaning} {text} run.", unit, minimum,
            required=False,
        )
        for when, text in (("then", "in the old"), ("now", "in the new"))
    )  # fmt: skip


_STATUS: Final = Column(
    "status",
    "text",
    "What became of it; gone and new mean that the other run has none that matches.",
    values=("kept", "changed", "moved", "gone", "new"),
)

ITEMS: Final = (
    Table(
        "change_findings",
        "What changed for the design",
        "What is worse and puts the old design in question, the gravest first; then what is"
        " different, then what is better.",
        (
            Column("rank", "int", "1 is looked at first.", minimum=1),
            Column("effect", "text", "What it means for the old design.",
                   values=("worse", "different", "better")),
            Column("layer", "text", "Layer that it concerns; empty is the whole survey.",
                   required=False),
            Column("id", "text", "Row that it concerns.", required=False),
            Column("text", "text", "What was found, with the numbers."),
            Column("mend", "text", "What to do."),
        ),
    ),
    Layer(
        "change_areas",
        Geometry.MULTIPOLYGON,
        "Changed ground",
        "Ground that has changed by more than both surveys' errors explain.",
        (
            Column("area_id", "int", "Number of the patch.", minimum=1),
            Column("kind", "text", "Lowered or raised.", values=("cut", "fill")),
            Column("area_m2", "float", "Its area.", "m²", 0),
            Column("volume_m3", "float", "Earth that went or came.", "m³", 0),
            Column("volume_error_m3", "float", "Uncertainty of the volume.", "m³", 0),
            Column("mean_m", "float", "Mean change; negative is lower.", "m"),
            Column("greatest_m", "float", "Greatest change; negative is lower.", "m"),
        ),
    ),
    Layer(
        "intake_changes",
        Geometry.POINT,
        "Changes of intakes",
        "How much ground drains to each intake, then and now.",
        (
            Column("name", "text", "Name as drawn.", required=False),
            Column("intake_id", "int", "Number in the old run; in the new one where it is new."),
            _STATUS,
            *_then_now("area|m2", "All that drains to it", "m²", 0),
            Column("change_m2", "float", "New less old area.", "m²", required=False),
            Column("change_pct", "float", "The same of the old area.", "%", required=False),
            Column("moved_m", "float", "Distance between the two places.", "m", 0, required=False),
            Column("explained", "text",
                   "Whether the ranges of both areas, 5 to 95 %, overlap, so that the errors of the"
                   " surveys explain it; empty where the runs did not try that.",
                   values=("yes", "no"), required=False),
        ),
    ),
    Layer(
        "line_changes",
        Geometry.LINE,
        "Moved lines",
        "Lines of the old run, and new ones, with the distance between them.",
        (
            Column("layer", "text", "Layer that the line is from."),
            Column("line_id", "text", "Its id in the old run; in the new one where it is new."),
            Column("now_id", "text", "Id of the new line in its place.", required=False),
            _STATUS,
            *_then_now("level|m", "Its level", "m"),
            Column("mean_m", "float", "Mean distance to the new lines.", "m", 0, required=False),
            Column("most_m", "float", "Greatest distance to the new lines.", "m", 0,
                   required=False),
            Column("near_pct", "float", "Share of it beside a new line.", "%", 0, 100),
            Column("changed_m", "float", "Length of it on changed ground.", "m", 0),
            Column("least_change_m", "float", "Lowest change of ground under it.", "m",
                   required=False),
            Column("greatest_change_m", "float", "Highest change of ground under it.", "m",
                   required=False),
        ),
    ),
    Layer(
        "element_changes",
        Geometry.ANY,
        "Changes of elements",
        "Storage and sill level of each element then and now, as designed and on the ground.",
        (
            Column("element_id", "text", "Name of the element."),
            Column("kind", "text", "What it is."),
            _STATUS,
            *_then_now("storage|m3", "Volume to the spill level as designed", "m³", 0),
            *_then_now("spill_level|m", "Level at which it spills as designed", "m"),
            Column("ground_then_m3", "float",
                   "Room on the old ground within its outline, below its old spill level.", "m³",
                   0, required=False),
            Column("ground_now_m3", "float",
                   "Room on the new ground within its outline, below its old spill level; less"
                   " than before is silt or fill.", "m³", 0, required=False),
            Column("ground_error_m3", "float", "Uncertainty of the difference of the two.", "m³",
                   0, required=False),
            Column("spills_to_then", "text", "Where it spilled.", required=False),
            Column("spills_to_now", "text", "Where it spills.", required=False),
            Column("changed_m2", "float", "Changed ground within its outline.", "m²", 0),
            Column("new_flags", "text", "Flags that it did not carry.", required=False),
            Column("gone_flags", "text", "Flags that it no longer carries.", required=False),
        ),
    ),
    Raster(
        "change_m",
        "float32",
        float("nan"),
        "Change of the ground",
        "New less old elevation, what lies on everything alike taken off.",
        "m",
    ),
)  # fmt: skip
