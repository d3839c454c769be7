"""What a condition notice says, in the language that is active: page and PDF print the same sentences."""

from dataclasses import dataclass
from math import ceil

from django.utils.translation import gettext as _

from jobs.walkthroughs.domain import must_be_shown, step_text
from jobs.walkthroughs.models import Finding, Photo, Walkthrough, WallFinding, WallLeftOut
from jobs.walkthroughs.selectors.removal import removal_quote
from jobs.walkthroughs.words import wall_name
from jobs.work.models import JobLine
from pricing.estimates.estimate_words import tax_words
from pricing.estimates.models import EstimateOption
from pricing.estimates.quotes import CardQuote
from pricing.estimates.selectors import newest_removal
from shared.company.selectors import company_get
from shared.web.words import day_words, money_words

SCALE = (
    lambda: _("nothing on the finger"),
    lambda: _("a trace that is hard to see"),
    lambda: _("a light film on the finger"),
    lambda: _("a clear white film; a streak stays on the wall"),
    lambda: _("the finger is white all over"),
    lambda: _("powder comes off in plenty"),
)


@dataclass(frozen=True, slots=True)
class NoticeWords:
    """Everything printed, as plain text; `pictures` in their order."""

    title: str
    place: str
    found_title: str
    found: tuple[str, ...]
    chalk_title: str
    chalk: tuple[str, ...]
    removal_title: str
    removal: tuple[str, ...]
    pictures_title: str
    pictures: tuple[tuple[Photo, str], ...]
    footer: str


def scale_words(grade: int) -> str:
    """A whole grade of our field scale as the finger shows it."""
    return SCALE[grade]()


def statement_words() -> str:
    """The sentence above the name."""
    return _(
        "I have seen what was found on the house before any work started. I understand that a normal wash does not "
        "remove chalk. This is no order and costs nothing."
    )


def notice_words(walkthrough: Walkthrough) -> NoticeWords:
    """The words of a walkthrough's notice. Its findings, walls and pictures are read here."""
    walls = list(walkthrough.wall_findings.select_related("wall", "reading"))
    chalky = [found for found in walls if must_be_shown(found.reading.reading)]
    company, place = company_get(), walkthrough.property
    return NoticeWords(
        title=_("What we found before the work"),
        place=f"{place.address} · {day_words(walkthrough.walked_on)}",
        found_title=_("What was found, and where"),
        found=(
            *map(_wall_words, walls),
            *map(_left_out_words, walkthrough.left_out.select_related("wall")),
            *map(_finding_words, walkthrough.findings.select_related("wall")),
        ),
        chalk_title=_("What chalk is"),
        chalk=_chalk_words() if chalky else (),
        removal_title=_("What removing it would mean"),
        removal=_removal_words(walkthrough) if chalky else (),
        pictures_title=_("Pictures"),
        pictures=tuple(
            (photo, _picture_words(number, photo))
            for number, photo in enumerate(walkthrough.photos.select_related("wall"), start=1)
        ),
        footer=" · ".join(part for part in (company.name, company.postal_address) if part),
    )


def _wall_words(found: WallFinding) -> str:
    reading = found.reading.reading
    return _("%(wall)s: chalk %(reading)s of 5, %(words)s") % {
        "wall": wall_name(found.wall.name),
        "reading": step_text(reading),
        "words": scale_words(ceil(reading)),
    }


def _left_out_words(row: WallLeftOut) -> str:
    words = {"wall": wall_name(row.wall.name), "why": row.get_reason_display()}
    return _("%(wall)s: chalk not tested, %(why)s") % words


def _finding_words(row: Finding) -> str:
    what = f"{row.get_kind_display()}, {row.note}" if row.note else row.get_kind_display()
    return f"{wall_name(row.wall.name)}: {what}" if row.wall else what


def _picture_words(number: int, photo: Photo) -> str:
    words = _("Picture %(number)s") % {"number": number}
    return f"{words}: {wall_name(photo.wall.name)}" if photo.wall else words


def _chalk_words() -> tuple[str, ...]:
    return (
        _("Chalk is loose powder. Siding and paint make it as sun and rain wear their surface. It is not dirt."),
        _("A normal wash does not remove chalk. It was there before the wash and will be there after it."),
        _("Touch the wall: chalk comes off on the finger and leaves a lighter or darker streak on the wall."),
    )


def _removal_words(walkthrough: Walkthrough) -> tuple[str, ...]:
    return (
        _("Taking chalk off is separate work: wall by wall, by hand, with a cleaner made for it, a test spot first."),
        _("It brings colour and shine back as far as the surface still has them, and chalk returns with the years."),
        _price_words(walkthrough),
    )


def _price_words(walkthrough: Walkthrough) -> str:
    agreed = list(JobLine.objects.filter(job=walkthrough.job_id, service__removes_chalk=True))
    currency = company_get().currency
    if agreed:
        price = money_words(sum(line.price_cents for line in agreed), currency)
        return _("It is part of this job: %(price)s before tax.") % {"price": price}
    offered = newest_removal(property_ref=walkthrough.property_id, today=walkthrough.walked_on)
    if offered is not None:
        return _offered_words(offered, currency)
    found = removal_quote(walkthrough)
    return _quote_words(found.quote, currency) if found else _("We will send you an estimate of its price.")


def _offered_words(offered: EstimateOption, currency: str) -> str:
    """What the open estimate asks for the removal, and until when."""
    cents = sum(line.price_cents for line in offered.lines.all() if line.service.removes_chalk)
    words = _("It would cost %(price)s before tax, by our estimate %(number)s, good until %(day)s.")
    return words % {
        "price": money_words(cents, currency),
        "number": offered.estimate_id,
        "day": day_words(offered.estimate.valid_until),
    }


def _quote_words(quote: CardQuote, currency: str) -> str:
    """The price, what is in it, and what comes on top."""
    price, totals = quote.ask.price, quote.totals
    words = _("For the chalky walls it would be about %(price)s before tax, by our prices of today.")
    said = [words % {"price": money_words(totals.before_tax_cents, currency)}]
    if price.base_cents > price.by_quantity_cents:
        said.append(_("Our least charge of %(least)s counts.") % {"least": money_words(price.base_cents, currency)})
    if price.surcharges:
        listed = ", ".join(f"{each.name} {money_words(cents, currency)}" for each, cents in price.surcharges)
        said.append(_("In it: %(surcharges)s.") % {"surcharges": listed})
    if quote.driving_may_add:
        said.append(_("The way to you may add to it."))
    return " ".join([*said, _tax_words(quote, currency)])


def _tax_words(quote: CardQuote, currency: str) -> str:
    if quote.tax_millionths is None:
        return _("No tax is included.")
    words = _("With %(rate)s tax it would be %(total)s.")
    return words % {"rate": tax_words(quote.tax_millionths), "total": money_words(quote.totals.total_cents, currency)}
