"""Places where a bank holds much water for little earth."""

from brimline.choose.ponds.rules import BankRules
from brimline.choose.ponds.sites import BankStage, PondSite, pond_sites

__all__ = ["BankRules", "BankStage", "PondSite", "pond_sites"]
