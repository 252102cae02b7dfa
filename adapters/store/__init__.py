"""What has to survive: the ledger, the last good forecasts, what was decided, and what has still to be sent."""

from adapters.store.briefs import BriefRow, OutboxRow, QueuedBrief, channel_key
from adapters.store.engine import StoreError
from adapters.store.store import Store, open_store

__all__ = ["BriefRow", "OutboxRow", "QueuedBrief", "Store", "StoreError", "channel_key", "open_store"]
