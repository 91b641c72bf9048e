"""What the shop did to its own record: returns, kits, new numbers, machines named in words."""

from dutylife.intake.history.apply import History, apply_history

__all__ = ["History", "apply_history"]
