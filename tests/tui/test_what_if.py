"""What if: the wishes that the record holds stand beside those that are tried out."""

from __future__ import annotations

from tests.plans import files
from tests.tui.screens_of import opened, settled, the_app
from tui.followup.form_field import Field
from tui.screens.what_if import RECORDED, STANDS
from tui.widgets.form import Form


def wishes(app: object) -> dict[str, Field]:
    return {one.name: one for one in app.screen.query_one(Form).fields}  # type: ignore[attr-defined]


async def test_a_wish_of_the_record_is_shown_as_recorded_and_not_as_missing() -> None:
    app = the_app("hazel-08", {"hazel-08": files()["hazel-08"]})  # its record holds: fewest operations matter most
    async with app.run_test(size=(120, 40)) as pilot:
        await settled(pilot)
        await opened(pilot, "what_if")
        shown = wishes(app)
        assert (shown["fewest_operations"].offered, shown["fewest_operations"].origin) == ("yes", RECORDED)
        assert STANDS in shown["fewest_operations"].wanted
        assert not any(one.origin for name, one in shown.items() if name != "fewest_operations")


async def test_without_a_wish_nothing_is_said_to_be_recorded() -> None:
    app = the_app("rowan-02", {"rowan-02": files()["rowan-02"]})
    async with app.run_test(size=(120, 40)) as pilot:
        await settled(pilot)
        await opened(pilot, "what_if")
        assert not any(one.origin or one.offered for one in wishes(app).values())
