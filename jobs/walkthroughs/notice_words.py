"""What a condition notice says, in the language that is active: page and PDF print the same sentences."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from math import ceil

from django.utils.translation import gettext as _
from django.utils.translation import gettext as translated  # not for the extraction of texts
from django.utils.translation import gettext_noop

from jobs.walkthroughs.domain import must_be_shown, step_text
from jobs.walkthroughs.models import Finding, Photo, Walkthrough, WallFinding, WallLeftOut
from jobs.walkthroughs.selectors.removal import removal_quote
from jobs.walkthroughs.words import wall_name
from jobs.work.models import Job, JobLine
from pricing.estimates.estimate_words import tax_words
from pricing.estimates.models import EstimateOption
from pricing.estimates.quotes import CardQuote
from pricing.estimates.selectors import newest_removal
from shared.company.models import Company
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

# Headings and the forms of the lines. A phone without a signal fills in the same ones: phone_words.py hands them to it.
TITLE = gettext_noop("What we found before the work")
FOUND_TITLE = gettext_noop("What was found, and where")
CHALK_TITLE = gettext_noop("What chalk is")
REMOVAL_TITLE = gettext_noop("What removing it would mean")
PICTURES_TITLE = gettext_noop("Pictures")
PLACE_LINE = "%(address)s · %(day)s"
WALL_LINE = gettext_noop("%(wall)s: chalk %(reading)s of 5, %(words)s")
LEFT_OUT_LINE = gettext_noop("%(wall)s: chalk not tested, %(why)s")
AT_WALL = "%(wall)s: %(what)s"
WITH_NOTE = "%(what)s, %(note)s"
PICTURE_LINE = gettext_noop("Picture %(number)s")
PICTURE_AT = "%(picture)s: %(wall)s"
NOT_DRAWN_LINE = gettext_noop("%(picture)s (this phone could not show it)")


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


@dataclass(frozen=True, slots=True)
class KnownPrice:
    """The price of taking chalk off as far as it is known whatever is found: that of the job's own lines, or the option
    of the property's open estimate; neither where one has to follow."""

    agreed_cents: int | None = None
    offered: EstimateOption | None = None

    @property
    def is_known(self) -> bool:
        return self.agreed_cents is not None or self.offered is not None


def scale_words(grade: int) -> str:
    """A whole grade of our field scale as the finger shows it."""
    return SCALE[grade]()


def statement_words() -> str:
    """The sentence above the name."""
    return _(
        "I have seen what was found on the house before any work started. I understand that a normal wash does not "
        "remove chalk. This is no order and costs nothing."
    )


def notice_words(walkthrough: Walkthrough, *, drawn: Collection[str] | None = None) -> NoticeWords:
    """The words of a walkthrough's notice. Its findings, walls and pictures are read here.

    `drawn` are the digests, as they were sent, of the pictures that a phone without a signal showed: the notice is then
    worded as that phone words it, which knows no price by the card.
    """
    walls = list(walkthrough.wall_findings.select_related("wall", "reading"))
    chalky = [found for found in walls if must_be_shown(found.reading.reading)]
    place = walkthrough.property
    return NoticeWords(
        title=translated(TITLE),
        place=PLACE_LINE % {"address": place.address, "day": day_words(walkthrough.walked_on)},
        found_title=translated(FOUND_TITLE),
        found=(
            *map(_wall_words, walls),
            *map(_left_out_words, walkthrough.left_out.select_related("wall")),
            *map(_finding_words, walkthrough.findings.select_related("wall")),
        ),
        chalk_title=translated(CHALK_TITLE),
        chalk=chalk_words() if chalky else (),
        removal_title=translated(REMOVAL_TITLE),
        removal=_removal_words(walkthrough, by_card=drawn is None) if chalky else (),
        pictures_title=translated(PICTURES_TITLE),
        pictures=tuple(
            (photo, _picture_words(number, photo, drawn))
            for number, photo in enumerate(walkthrough.photos.select_related("wall"), start=1)
        ),
        footer=footer_words(company_get()),
    )


def notice_lines(words: NoticeWords) -> list[str]:
    """All of it, one line after the other, as a phone without a signal shows it."""
    parts = (
        (words.found_title, words.found),
        (words.chalk_title, words.chalk),
        (words.removal_title, words.removal),
        (words.pictures_title, tuple(text for _photo, text in words.pictures)),
    )
    listed = [line for title, lines in parts if lines for line in (title, *lines)]
    return [line for line in (words.title, words.place, *listed, words.footer) if line]


def footer_words(company: Company) -> str:
    return " · ".join(part for part in (company.name, company.postal_address) if part)


def _wall_words(found: WallFinding) -> str:
    reading = found.reading.reading
    return translated(WALL_LINE) % {
        "wall": wall_name(found.wall.name),
        "reading": step_text(reading),
        "words": scale_words(ceil(reading)),
    }


def _left_out_words(row: WallLeftOut) -> str:
    return translated(LEFT_OUT_LINE) % {"wall": wall_name(row.wall.name), "why": row.get_reason_display()}


def _finding_words(row: Finding) -> str:
    kind = row.get_kind_display()
    what = WITH_NOTE % {"what": kind, "note": row.note} if row.note else kind
    return AT_WALL % {"wall": wall_name(row.wall.name), "what": what} if row.wall else what


def _picture_words(number: int, photo: Photo, drawn: Collection[str] | None) -> str:
    words = translated(PICTURE_LINE) % {"number": number}
    if photo.wall:
        words = PICTURE_AT % {"picture": words, "wall": wall_name(photo.wall.name)}
    if drawn is not None and photo.sent_digest not in drawn:
        return translated(NOT_DRAWN_LINE) % {"picture": words}
    return words


def chalk_words() -> tuple[str, ...]:
    """What chalk is, that a wash does not remove it, what touching shows."""
    return (
        _("Chalk is loose powder. Siding and paint make it as sun and rain wear their surface. It is not dirt."),
        _("A normal wash does not remove chalk. It was there before the wash and will be there after it."),
        _("Touch the wall: chalk comes off on the finger and leaves a lighter or darker streak on the wall."),
    )


def removal_words() -> tuple[str, ...]:
    """What taking chalk off is, without its price."""
    return (
        _("Taking chalk off is separate work: wall by wall, by hand, with a cleaner made for it, a test spot first."),
        _("It brings colour and shine back as far as the surface still has them, and chalk returns with the years."),
    )


def _removal_words(walkthrough: Walkthrough, *, by_card: bool) -> tuple[str, ...]:
    known, currency = known_price(walkthrough.job, walkthrough.walked_on), company_get().currency
    found = removal_quote(walkthrough) if by_card and not known.is_known else None
    price = _quote_words(found.quote, currency) if found else known_price_words(known, currency)
    return (*removal_words(), price)


def known_price(job: Job, day: date) -> KnownPrice:
    """Read once; worded in every language."""
    agreed = [line.price_cents for line in JobLine.objects.filter(job=job, service__removes_chalk=True)]
    if agreed:
        return KnownPrice(agreed_cents=sum(agreed))
    return KnownPrice(offered=newest_removal(property_ref=job.property_id, today=day))


def known_price_words(known: KnownPrice, currency: str) -> str:
    """What it costs, or that a price follows."""
    if known.agreed_cents is not None:
        price = money_words(known.agreed_cents, currency)
        return _("It is part of this job: %(price)s before tax.") % {"price": price}
    if known.offered is not None:
        return _offered_words(known.offered, currency)
    return _("We will send you an estimate of its price.")


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
