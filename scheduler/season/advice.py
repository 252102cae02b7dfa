"""What an adviser would point out in a plan that is formally right."""

from config.models import Estate, Product
from scheduler.agronomy.nutrients import nutrients, spray_strength_pct

MOST_QUICK_N_G_M2 = 10.0  # twice the usual 1 lb/1000 ft2 (Univ. Illinois 1995): more at once is hardly meant
MOST_STRENGTH_PCT = 25.0  # product in the finished spray, w/v: engineering judgement


def _odd_doses(product: Product) -> list[str]:
    """What looks like a slip on a product sheet."""
    found = []
    quick = nutrients(product).soluble_n
    if quick > MOST_QUICK_N_G_M2:
        found.append(f"{quick:.0f} g/m² of quick nitrogen at once")
    strength = spray_strength_pct(product)
    if strength is not None and strength > MOST_STRENGTH_PCT:
        found.append(f"{strength:.0f} % of the finished spray is product")
    return found


def notes_on(estate: Estate) -> list[str]:
    """Remarks on an estate: lawns without a plan, repeats shorter than the sheet's, people nobody can reach."""
    notes = [
        f"lawn {lawn.id}: no programme, so nothing will ever be due" for lawn in estate.lawns if not lawn.programme
    ]
    for programme in estate.programmes:
        for step in programme.steps:
            product = estate.product(step.product)
            if step.every_days and product.every_days and step.every_days[0] < product.every_days[0]:
                notes.append(
                    f"programme {programme.id}: {product.id} every {step.every_days[0]} days, its sheet says "
                    f"{product.every_days[0]}; make sure the label allows it"
                )
            if not step.every_days and not product.every_days:
                notes.append(f"programme {programme.id}: {product.id} has no repeat; it will be due once a season")
    notes += [f"product {p.id}: the analysis gives no nutrient at all" for p in estate.products
              if p.npk_pct == (0, 0, 0) and nutrients(p).fe == 0]  # fmt: skip
    notes += [f"product {p.id}: {note}; a slipped decimal?" for p in estate.products for note in _odd_doses(p)]
    for person in estate.people:
        if not person.reach:
            notes.append(f"{person.id}: no reach, so no message is sent")
        elif person.brief_at is None:
            notes.append(f"{person.id}: no brief_at, so no morning brief is sent")
        if not estate.lawns_of(person):
            notes.append(f"{person.id}: looks after no lawn")
    return notes
