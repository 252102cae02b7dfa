from datetime import UTC, datetime, timedelta
from pathlib import Path

from adapters.store import open_store
from adapters.store.forecasts import KEPT

NOW = datetime(2026, 5, 4, 5, 0, tzinfo=UTC)


def test_the_newest_run_of_each_cell_and_provider_is_found_and_few_are_kept(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        for n in range(6):
            for provider in ("met-norway", "nws"):
                at = NOW + timedelta(hours=n)
                store.save_forecast(
                    "51.48,-0.62", provider, issued_at=at, received_at=at, body=f"{provider} {n}".encode()
                )
        store.save_forecast("40.00,-90.00", "nws", issued_at=NOW, received_at=NOW, body=b"other cell")
        newest = store.newest_runs(NOW + timedelta(hours=6))
        assert set(newest) == {("51.48,-0.62", "met-norway"), ("51.48,-0.62", "nws"), ("40.00,-90.00", "nws")}
        head = newest[("51.48,-0.62", "nws")]
        assert head.issued_at == NOW + timedelta(hours=5)
        run = store.load_run(head.id)
        assert run is not None
        assert (run.body, run.issued_at, run.provider) == (b"nws 5", NOW + timedelta(hours=5), "nws")
        with store.engine.connect().execution_options(readonly=True) as connection:
            count = connection.exec_driver_sql("SELECT count(*) FROM forecast_run").scalar_one()
        assert count == 2 * KEPT + 1
        assert store.load_run(1) is None


def test_a_clock_put_back_finds_the_run_received_under_it(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        for at in (NOW + timedelta(days=30 + n) for n in range(KEPT)):
            store.save_forecast("51.48,-0.62", "nws", issued_at=at, received_at=at, body=b"later")
        assert store.newest_runs(NOW) == {}
        number = store.save_forecast("51.48,-0.62", "nws", issued_at=NOW, received_at=NOW, body=b"now")
        assert store.newest_runs(NOW)[("51.48,-0.62", "nws")].id == number
