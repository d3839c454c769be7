"""The route sheet as PDF."""

from pathlib import Path
from typing import Any

from django.utils.translation import get_language
from django.utils.translation import gettext as _

from routing.dispatch.sheet import Sheet, SheetLine, SheetStop
from shared.typesetting import pdf_of
from shared.web.words import clock_words, day_words, hours_words, miles_words

FOLDER = Path(__file__).parent / "templates" / "dispatch"
TEMPLATE, MIX_TEMPLATE, POURS = FOLDER / "route_sheet.typ", FOLDER / "mix_sheet.typ", FOLDER / "pours.typ"
LONG_TEXT = 1_200  # letters from which a stop may be split over two pages


def sheet_pdf(sheet: Sheet) -> bytes:
    """Print a sheet."""
    return pdf_of(TEMPLATE, _printed(sheet), name="sheet", parts=[POURS])


def mix_sheet_pdf(sheet: Sheet) -> bytes:
    """Print the mixes of a sheet, and what they come to on the truck."""
    return pdf_of(MIX_TEMPLATE, _mixes_printed(sheet), name="sheet", parts=[POURS])


def _mixes_printed(sheet: Sheet) -> dict[str, Any]:
    day = day_words(sheet.work_date)
    return {
        "lang": (get_language() or "en").split("-")[0],
        "title": _("Mix sheet %(crew)s, %(day)s") % {"crew": sheet.crew, "day": day},
        "footer": f"{sheet.company} · {sheet.crew} · {day} · {sheet.version}",
        "first_words": sheet.first_words,
        "truck": sheet.truck,
        "truck_title": _("On the truck"),
        "totals": sheet.mix_totals,
        "stock_title": _("Stock"),
        "water_title": _("Water"),
        "limits_title": _("Limits at the surface"),
        "limits": sheet.limits,
        "none": _("None of this day's services has a mix."),
        "stops": [
            {
                "number": str(stop.number),
                "address": stop.address,
                "arrive": clock_words(stop.arrive),
                "lines": [_mix_line(line) for line in stop.lines if line.mixes],
            }
            for stop in sheet.stops
            if any(line.mixes for line in stop.lines)
        ],
        "weather": sheet.weather,
        "cautions": sheet.mix_cautions,
    }


def _mix_line(line: SheetLine) -> dict[str, Any]:
    return {"service": line.service, "quantity": line.quantity, "mixes": _mixes(line)}


def _mixes(line: SheetLine) -> list[dict[str, Any]]:
    return [
        {
            "head": note.head,
            "pours": [
                {"where": pour.where, "stock": pour.stock, "water": pour.water or _("none")} for pour in note.pours
            ],
            "how": note.how,
            "warnings": note.warnings,
        }
        for note in line.mixes
    ]


def _printed(sheet: Sheet) -> dict[str, Any]:
    day = day_words(sheet.work_date)
    break_words = _break_words(sheet)
    return {
        "lang": (get_language() or "en").split("-")[0],
        "title": _("Route sheet %(crew)s, %(day)s") % {"crew": sheet.crew, "day": day},
        "footer": f"{sheet.company} · {sheet.crew} · {day} · {sheet.version}",
        "crew": sheet.crew,
        "date": day,
        "version": sheet.version,
        "facts": [
            (_("Yard"), f"{sheet.yard}{', ' + sheet.yard_address if sheet.yard_address else ''}"),
            (_("Truck"), sheet.truck),
            (_("Workers"), str(sheet.workers)),
            (_("Drive times"), sheet.drive_source),
        ],
        "figures": [
            (_("Leave"), clock_words(sheet.leave)),
            (_("Back"), clock_words(sheet.back)),
            (_("On site"), hours_words(sheet.on_site_minutes)),
            (_("Driving"), f"{hours_words(sheet.drive_minutes)}, {miles_words(sheet.drive_metres)}"),
        ],
        "stock_title": _("Stock"),
        "water_title": _("Water"),
        "load_out_title": _("Load-out"),
        "load_out": [*sheet.load_out, *sheet.mix_totals],
        "stops": [_stop(stop, break_words if stop.break_before else "") for stop in sheet.stops],
        "break_last": "" if any(stop.break_before for stop in sheet.stops) else break_words,
        "home": _home_words(sheet),
        "home_turns": sheet.home_turns,
        "first_words": sheet.first_words,
        "weather": sheet.weather,
        "cautions": sheet.cautions,
    }


def _break_words(sheet: Sheet) -> str:
    if sheet.break_at is None:
        return ""
    words = _("Break at %(clock)s, %(minutes)s")
    return words % {"clock": clock_words(sheet.break_at), "minutes": hours_words(sheet.break_minutes)}


def _home_words(sheet: Sheet) -> str:
    words = _("Drive %(minutes)s, %(miles)s back to the yard: %(clock)s")
    return words % {
        "minutes": hours_words(sheet.home_leg_minutes),
        "miles": miles_words(sheet.home_leg_metres),
        "clock": clock_words(sheet.back),
    }


def _stop(stop: SheetStop, break_before: str) -> dict[str, Any]:
    notes = [
        (_("Gate"), stop.gate),
        (_("Pets"), stop.pets),
        (_("Property"), stop.property_note),
        (_("Note"), stop.note),
    ]
    drive = _("Drive %(minutes)s, %(miles)s") % {
        "minutes": hours_words(stop.leg_minutes),
        "miles": miles_words(stop.leg_metres),
    }
    return {
        "number": str(stop.number),
        "break_before": break_before,
        "drive": drive,
        "turns": stop.turns,
        "address": stop.address,
        "customer": stop.customer,
        "phone": stop.phone,
        "phone_words": stop.phone_words,
        "geo": stop.geo,
        "arrive": clock_words(stop.arrive),
        "times": _("work %(start)s – %(finish)s")
        % {"start": clock_words(stop.start), "finish": clock_words(stop.finish)},
        "windows": stop.windows,
        "met": [*stop.met, *stop.unrinsed],
        "notes": [(name, text) for name, text in notes if text],
        "lines": [_line(line) for line in stop.lines],
        "walls": [{"name": note.names, "words": note.words, "first": note.is_shown_first} for note in stop.chalk],
        "cautions": stop.cautions,
        "is_long": sum(len(text) for _name, text in notes) > LONG_TEXT,
    }


def _line(line: SheetLine) -> dict[str, Any]:
    more = " · ".join(part for part in (line.walls, line.note) if part)
    return {
        "service": line.service,
        "more": more,
        "quantity": line.quantity,
        "minutes": hours_words(line.minutes),
        "mixes": _mixes(line),
        "steps": [{"words": step.words, "notes": step.notes} for step in line.steps],
    }
