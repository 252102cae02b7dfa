"""One row of the ledger as nutrients on the ground."""

from config.models import Lawn, Product
from scheduler.agronomy.nutrients import Nutrients, nutrients, rate_of_amount
from scheduler.values import Entry


def dose_of(entry: Entry, product: Product, lawn: Lawn) -> Nutrients:
    """Nutrients of one row [g/m2] on the ground that was treated: the stated part of the lawn, else all of it.

    Nothing for a row that was skipped or taken back. ValueError as `nutrients`.
    """
    if entry.kind != "done" or entry.undone_at is not None:
        return Nutrients()
    return nutrients(product, rate_of_amount(product, entry.amount, entry.area_m2 or lawn.area_m2))
