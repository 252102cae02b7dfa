"""Which mails show pictures, and that no brief waits or fails for one."""

from collections.abc import Sequence
from datetime import timedelta
from pathlib import Path

import pytest

from adapters.charts import ChartsMissing
from adapters.daemon.compose import compose_for
from adapters.daemon.pictures import Pictures
from adapters.store import QueuedBrief, Store, open_store
from scheduler.outlook import Outlook
from scheduler.values import CellWeather, Message
from scheduler.weather.cells import cell_of
from tests.adapters.daemon.fakes import DUE, FakeSend, HandClock, parts_in
from tests.builders import build_estate, lawn, person
from tests.weather import mild

MAIL = {"MAIL": "mailtos://u:p@mail.example.org?to=ines@example.org", "CHAT": "slack://a/b/c"}


class Artist:
    """Draws nothing but the lawn's id; keeps count."""

    def __init__(self, error: Exception | None = None) -> None:
        self.drawn: list[tuple[str, bool]] = []
        self.error = error

    def __call__(self, told: Outlook, *, trial: bool) -> bytes:
        if self.error:
            raise self.error
        self.drawn.append((told.lawn.id, trial))
        return told.lawn.id.encode()


def messages(
    folder: Path, artist: Artist, *people: dict[str, object], lawns: int = 2, limit_s: float = 60.0, trial: bool = False
) -> Sequence[Message]:
    """The message of each person, who looks after all lawns unless said otherwise."""
    places = [lawn(id=f"l{n}", name=f"Lawn {n}", irrigation="none") for n in range(lawns)]
    estate = build_estate(folder, lawns=places, people=list(people))
    cell = cell_of(estate.lawns[0].latitude, estate.lawns[0].longitude)
    weather = {cell: CellWeather(cell, mild(DUE - timedelta(hours=6)).with_(issued=DUE), "fresh")}
    pictures = Pictures(MAIL, artist, limit_s)
    compose = compose_for(estate, DUE, weather, [], trial=trial, pictures=pictures)
    return [compose(one, False, None)[1] for one in estate.people]


def test_a_mail_to_somebody_with_few_lawns_shows_each_of_them(tmp_path: Path) -> None:
    (told,) = messages(tmp_path, Artist(), person(reach=["${CHAT}", "${MAIL}"]))
    assert [png for _, png in told.pictures] == [b"l0", b"l1"]
    for cid, _ in told.pictures:
        assert f'src="cid:{cid}"' in told.html
    assert len({cid for cid, _ in told.pictures}) == 2


def test_a_lawn_is_drawn_once_for_all_its_people(tmp_path: Path) -> None:
    artist = Artist()
    people = [person(id=f"p{n}", reach=["${MAIL}"]) for n in range(5)]
    told = messages(tmp_path, artist, *people, lawns=1, trial=True)
    assert artist.drawn == [("l0", True)]
    assert all(one.pictures for one in told)


@pytest.mark.parametrize(
    ("reach", "lawns", "limit_s"),
    [(["${CHAT}"], 1, 60.0), (["${UNSET}"], 1, 60.0), (["${MAIL}"], 4, 60.0), (["${MAIL}"], 1, 0.0)],
    ids=["chat alone", "a secret that is not set", "four lawns", "no time left"],
)
def test_others_get_words_alone(tmp_path: Path, reach: list[str], lawns: int, limit_s: float) -> None:
    artist = Artist()
    (told,) = messages(tmp_path, artist, person(reach=reach), lawns=lawns, limit_s=limit_s)
    assert artist.drawn == []
    assert told.pictures == ()
    assert "cid:" not in told.html
    assert "Lawn 0" in told.text


@pytest.mark.parametrize("error", [ChartsMissing("no matplotlib"), ZeroDivisionError("by chance")])
def test_a_picture_that_fails_costs_nobody_a_brief(
    tmp_path: Path, error: Exception, caplog: pytest.LogCaptureFixture
) -> None:
    people = [person(id=f"p{n}", reach=["${MAIL}"]) for n in range(3)]
    told = messages(tmp_path, Artist(error), *people)
    assert all("Lawn 1" in one.text and one.pictures == () for one in told)
    assert len([record for record in caplog.records if str(error) in record.getMessage()]) == 1


def test_a_real_picture_is_drawn_where_nothing_stands_in(tmp_path: Path) -> None:
    estate = build_estate(tmp_path, people=[person(reach=["${MAIL}"])])
    compose = compose_for(estate, DUE, {}, [], trial=False, pictures=Pictures(MAIL))
    _, told = compose(estate.people[0], False, None)
    ((_, png),) = told.pictures
    assert png.startswith(b"\x89PNG")


def test_pictures_are_kept_with_the_brief_and_sent_with_every_try(tmp_path: Path) -> None:
    from adapters.daemon.delivery import Delivery

    shown = (("a@ligule", b"one"), ("b@ligule", b"two"))
    with open_store(tmp_path) as store:
        parts = parts_in(tmp_path / "estate", store, HandClock(DUE), people=[person(reach=["${A}", "${B}"])])
        queue(store, Message("t", "x", '<img src="cid:a@ligule">', shown))
        send = FakeSend()
        delivery = Delivery(parts, send)
        for row in store.claim(DUE, "me", 9):
            delivery.deliver(row)
        delivery.close()
    assert [message.pictures for _, message, _ in send.sends] == [shown, shown]


def test_pictures_go_when_the_wording_goes(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        queue(store, Message("t", "x", "", (("a@ligule", b"one"),)))
        store.forget_wording(DUE.date())
        assert len(store.pictures("ines", DUE.date())) == 1
        store.forget_wording((DUE + timedelta(days=1)).date())
        assert store.pictures("ines", DUE.date()) == ()


def queue(store: Store, message: Message) -> None:
    until = DUE + timedelta(hours=5)
    assert store.queue_brief(QueuedBrief("ines", DUE.date(), ("${A}", "${B}"), DUE, until, message), DUE)
    assert not store.queue_brief(QueuedBrief("ines", DUE.date(), ("${A}",), DUE, until, message), DUE)
