"""The state of a transfer, from the values of its row."""

from __future__ import annotations

from clinic.lifecycle.chart import Allows
from clinic.models import Transfer
from clinic.record.lifecycle import allowed

__all__ = ["transfer_allowed", "transfer_state"]


def transfer_state(transfer: Transfer) -> str:
    return str(transfer.state)


def transfer_allowed(transfer: Transfer, event: str) -> Allows:
    return allowed("transfer", transfer_state(transfer), event)
