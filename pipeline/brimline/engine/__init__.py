"""Run stages in order, keep what they made by content, and say why a stage runs."""

from brimline.engine.digests import Digests, files_of
from brimline.engine.journal import HEADLINE, Journal, manifest
from brimline.engine.key import CodeReach
from brimline.engine.known import KnownParts, Later, declared_from, place_of, plain_of
from brimline.engine.listener import Listener
from brimline.engine.lock import Holder, site_lock
from brimline.engine.order import ordered
from brimline.engine.run import Codec, RunInputs, RunResult, StageDone, Tools, execute
from brimline.engine.stage import (
    GRID,
    NEAR,
    Facts,
    Given,
    Made,
    Params,
    Reporter,
    Source,
    Stage,
    Value,
    grid_facts,
)
from brimline.engine.store import STORE, Store, refuse_store

__all__ = [
    "GRID",
    "HEADLINE",
    "NEAR",
    "STORE",
    "CodeReach",
    "Codec",
    "Digests",
    "Facts",
    "Given",
    "Holder",
    "Journal",
    "KnownParts",
    "Later",
    "Listener",
    "Made",
    "Params",
    "Reporter",
    "RunInputs",
    "RunResult",
    "Source",
    "Stage",
    "StageDone",
    "Store",
    "Tools",
    "Value",
    "declared_from",
    "execute",
    "files_of",
    "grid_facts",
    "manifest",
    "ordered",
    "place_of",
    "plain_of",
    "refuse_store",
    "site_lock",
]
