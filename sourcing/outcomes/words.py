"""What one's own sales did to a forecast, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sourcing.language import gettext, ngettext, separated

if TYPE_CHECKING:
    from sourcing.fitting import Fit
    from sourcing.observations import Observations


def own_words(seen: Observations, fit: Fit) -> tuple[str, ...]:
    """Say how many of an item's comps are the user's own sales and what one of them counts; nothing without one."""
    count = int((seen.own & seen.sold).sum())
    if not count:
        return ()
    said = ngettext("{count} of its sales is your own.", "{count} of its sales are your own.", count)
    styles = int(fit.own.get("styles") or 0)
    if fit.own.get("plain") is None:
        return (
            said,
            gettext("It counts as much as any other: too few styles that you and others have sold to tell otherwise."),
        )
    return (
        said,
        gettext(
            "One of yours counts {weight} times as much as one of others, learnt from {styles} styles sold by both.",
            weight=separated(f"{fit.own_weight:.2f}"),
            styles=styles,
        ),
    )
