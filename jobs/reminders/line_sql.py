"""Who is due, and whether they may be written to, as one statement for all properties at once.

It says the same as `domain.due` and `domain.consent` say of one property, which a test compares on random companies;
whatever is written to a customer is judged by those. Steps are named as the domain names them. PostgreSQL and SQLite
differ in a few spellings only.
"""

from jobs.reminders.domain.choosing import MOST_SILENCE, NEVER_COUNTS_DAYS, OVERDUE_UNIT_DAYS, SILENCE_UNIT_DAYS
from jobs.reminders.domain.due import CHALK, CHALK_DUE_AFTER

_SEASON = CHALK_DUE_AFTER.days
_SPELLING = {
    "postgresql": {
        "read_due": f"{{day}} + {_SEASON}",
        "later_of": "GREATEST({one}, {other})",
        "local_day": "({at} AT TIME ZONE %(zone)s)::date",
        "lesser_of": "LEAST({one}, {other})",
        "days_before_today": "(%(today)s::date - {day})",
        "by_letters": 'COLLATE "C"',
        "list_of": "string_agg({one}, ',')",
        "wall_of": "CROSS JOIN LATERAL (SELECT * FROM customers_wall WHERE id = {one}.wall_id OFFSET 0) w",
    },
    "sqlite": {
        "read_due": f"date({{day}}, '+{_SEASON} days')",
        "later_of": "MAX({one}, {other})",
        "local_day": "CASE WHEN {at} IS NOT NULL THEN django_datetime_cast_date({at}, %(zone)s, 'UTC') END",
        "lesser_of": "MIN({one}, {other})",
        "days_before_today": "(julianday(%(today)s) - julianday({day}))",
        "by_letters": "COLLATE BINARY",
        "list_of": "group_concat({one}, ',')",
        "wall_of": "JOIN customers_wall w ON w.id = {one}.wall_id",
    },
}

_COMING = """
coming AS (
    SELECT j.property_id, l.service_id, s.removes_chalk
    FROM work_job j JOIN work_jobline l ON l.job_id = j.id JOIN catalogue_service s ON s.id = l.service_id
    WHERE j.state IN ('agreed', 'planned', 'on_site')
),
removal_coming AS (SELECT DISTINCT property_id FROM coming WHERE removes_chalk),
wall_removal AS (
    SELECT j.property_id, t.wall_id, MAX(v.work_date) AS done_on
    FROM work_visitline l JOIN work_visit v ON v.id = l.visit_id JOIN work_job j ON j.id = v.job_id
    JOIN catalogue_service s ON s.id = l.service_id LEFT JOIN work_jobline_walls t ON t.jobline_id = l.job_line_id
    WHERE s.removes_chalk GROUP BY j.property_id, t.wall_id
)"""

# What chalk is about, as `Due.wall_ids` and `areas_of` say it: each wall that counts for the reason, and their area,
# which is not known where that of one is not.
_ITS_WALLS = """CASE WHEN COUNT(*) OVER house > 1 THEN {wall_list} OVER house END AS wall_list,
        CASE WHEN MIN(COALESCE({wall}.area_sqft, 0)) OVER house > 0 THEN SUM({wall}.area_sqft) OVER house END
        AS area_sqft"""

# A property that was read at the limit is in `reading` even where it is not due yet: forecasts then say nothing.
_BY_READING = """
limit_wall AS MATERIALIZED (
    SELECT w.property_id, w.id AS wall_id, w.name AS wall_name, w.kind AS wall_kind, w.facing_degrees, w.area_sqft,
        r.reading, r.read_on
    FROM walkthroughs_chalkreading r {wall_read}
    WHERE {chalk} AND r.reading >= %(limit)s AND NOT EXISTS (
        SELECT 1 FROM walkthroughs_chalkreading n WHERE n.wall_id = r.wall_id
        AND (n.read_on > r.read_on OR (n.read_on = r.read_on AND n.id > r.id))
    )
),
reading_wall AS (
    SELECT w.* FROM limit_wall w WHERE NOT EXISTS (
        SELECT 1 FROM wall_removal g WHERE g.property_id = w.property_id
        AND (g.wall_id IS NULL OR g.wall_id = w.wall_id) AND g.done_on >= w.read_on
    )
    AND NOT EXISTS (SELECT 1 FROM removal_coming k WHERE k.property_id = w.property_id)
),
reading_ranked AS (
    SELECT r.property_id, r.wall_id, r.wall_name, r.wall_kind, r.facing_degrees, r.reading, r.read_on,
        COUNT(*) OVER house - 1 AS more_walls, MAX(r.read_on) OVER house AS newest_on, {read_walls},
        ROW_NUMBER() OVER (PARTITION BY r.property_id ORDER BY r.reading DESC, r.read_on DESC, r.wall_id) AS rank
    FROM reading_wall r WINDOW house AS (PARTITION BY r.property_id)
),
reading AS (SELECT r.*, {reading_due} AS due_on FROM reading_ranked r WHERE r.rank < 2)"""

_BY_FORECAST = """
forecast_wall AS MATERIALIZED (
    SELECT w.property_id, w.id AS wall_id, w.name AS wall_name, w.kind AS wall_kind, w.facing_degrees, w.area_sqft,
        f.{passes_on} AS passes_on, f.early_on, f.late_on, f.since, f.last_read_on AS read_on, {passing_due} AS due_on
    FROM chalking_wallforecast f {wall_passing}
    WHERE {chalk} AND f.refusal = '' AND NOT f.is_untested AND f.limit_half_steps = %(half_steps)s
    AND f.{passes_on} <= %(last_day)s
),
passing_wall AS MATERIALIZED (
    SELECT w.*, (SELECT n.reading FROM walkthroughs_chalkreading n WHERE n.wall_id = w.wall_id
        ORDER BY n.read_on DESC, n.id DESC LIMIT 1) AS reading
    FROM forecast_wall w
    WHERE NOT EXISTS (SELECT 1 FROM removal_coming k WHERE k.property_id = w.property_id)
    AND NOT EXISTS (SELECT 1 FROM reading r WHERE r.property_id = w.property_id)
    AND NOT EXISTS (
        SELECT 1 FROM wall_removal g WHERE g.property_id = w.property_id
        AND (g.wall_id IS NULL OR g.wall_id = w.wall_id) AND g.done_on > w.since
    )
),
passing_ranked AS (
    SELECT f.property_id, f.wall_id, f.wall_name, f.wall_kind, f.facing_degrees, f.reading, f.read_on, f.passes_on,
        f.early_on, f.late_on, f.due_on,
        COUNT(*) OVER house - 1 AS more_walls, MAX(f.read_on) OVER house AS newest_on, {passing_walls},
        ROW_NUMBER() OVER (PARTITION BY f.property_id ORDER BY f.due_on, f.wall_id) AS rank
    FROM passing_wall f WHERE f.reading < %(limit)s WINDOW house AS (PARTITION BY f.property_id)
),
passing AS (SELECT f.* FROM passing_ranked f WHERE f.rank < 2 AND f.due_on <= %(last_day)s)"""

_LINES = """
recurring AS (
    SELECT i.property_id, s.code AS kind, i.service_id, s.removes_chalk, i.interval_months, i.last_done_on,
        i.next_due_on AS due_on
    FROM work_serviceinterval i JOIN catalogue_service s ON s.id = i.service_id
    WHERE i.next_due_on <= %(last_day)s AND s.is_offered AND NOT EXISTS (
        SELECT 1 FROM coming k WHERE k.property_id = i.property_id AND k.service_id = i.service_id
    )
),
line AS (
    SELECT i.property_id, i.kind, i.service_id, i.due_on, i.interval_months, i.last_done_on,
        CAST(NULL AS bigint) AS wall_id, CAST(NULL AS text) AS wall_name, CAST(NULL AS text) AS wall_kind,
        CAST(NULL AS integer) AS facing_degrees, CAST(NULL AS decimal) AS reading, CAST(NULL AS date) AS read_on,
        CAST(NULL AS date) AS passes_on, CAST(NULL AS date) AS early_on, CAST(NULL AS date) AS late_on,
        CAST(0 AS bigint) AS more_walls, CAST(NULL AS text) AS wall_list, CAST(NULL AS bigint) AS area_sqft,
        CAST(NULL AS date) AS untold_since
    FROM recurring i WHERE NOT EXISTS (
        SELECT 1 FROM reading r WHERE r.property_id = i.property_id AND i.removes_chalk AND r.due_on <= %(last_day)s
    )
    AND NOT EXISTS (
        SELECT 1 FROM passing f WHERE f.property_id = i.property_id AND i.removes_chalk AND f.due_on < i.due_on
    )
    UNION ALL
    SELECT r.property_id, '{chalk_kind}', NULL, r.due_on, NULL, NULL, r.wall_id, r.wall_name, r.wall_kind,
        r.facing_degrees, r.reading, r.read_on, NULL, NULL, NULL, r.more_walls, r.wall_list, r.area_sqft,
        NULL
    FROM reading r WHERE r.due_on <= %(last_day)s
    UNION ALL
    SELECT f.property_id, '{chalk_kind}', NULL, f.due_on, NULL, NULL, f.wall_id, f.wall_name, f.wall_kind,
        f.facing_degrees, f.reading, f.read_on, f.passes_on, f.early_on, f.late_on, f.more_walls,
        f.wall_list, f.area_sqft, f.newest_on
    FROM passing f WHERE NOT EXISTS (
        SELECT 1 FROM recurring i WHERE i.property_id = f.property_id AND i.removes_chalk AND i.due_on <= f.due_on
    )
)"""

# All that was said counts by address: where two customers share one, the opt-out of either holds for both. The address
# is cast since SQLite searches an index for a column only where the other side is known to be text as well.
_WAYS = """
said AS (
    SELECT k.id, k.channel, k.given, k.at,
        CASE k.channel WHEN 'email' THEN LOWER(c.email) ELSE c.phone_e164 END AS address
    FROM customers_consent k JOIN customers_customer c ON c.id = k.customer_id
    WHERE k.purpose IN ('reminder', 'all')
),
heard AS (
    SELECT channel, address, 'yes' AS what, id, at FROM said WHERE given
    UNION ALL
    SELECT no.channel, no.address, 'no', no.id, no.at FROM said no WHERE NOT no.given AND NOT EXISTS (
        SELECT 1 FROM said yes WHERE yes.given AND yes.channel = no.channel AND yes.address = no.address
        AND yes.id > no.id AND yes.at >= no.at
    )
    UNION ALL
    SELECT b.channel, b.address, 'closed', NULL, b.since FROM outbox_blockedaddress b WHERE b.opened_at IS NULL
    UNION ALL
    SELECT 'text', t.sender_e164, 'unread', NULL, t.at FROM reminders_inboundtext t
    WHERE t.meaning = 'unclear' AND NOT EXISTS (SELECT 1 FROM reminders_textread r WHERE r.text_id = t.id)
),
way AS (
    SELECT channel, CAST(address AS text) AS address, MIN(CASE WHEN what = 'no' THEN id END) AS no_id,
        MAX(CASE WHEN what = 'yes' THEN at END) AS yes_at, MAX(CASE WHEN what = 'closed' THEN at END) AS closed_at,
        MIN(CASE WHEN what = 'unread' THEN at END) AS unread_at
    FROM heard WHERE address <> '' GROUP BY channel, address
)"""

_TOLD = """
contact AS (
    SELECT p.customer_id, MAX(r.created_at) AS at FROM reminders_reminder r
    JOIN customers_property p ON p.id = r.property_id JOIN outbox_message m ON m.id = r.message_id
    WHERE m.state IN ('waiting', 'sending', 'sent') GROUP BY p.customer_id
),
chalk_told AS (
    SELECT r.property_id, MAX(r.created_at) AS at FROM reminders_reminder r WHERE r.kind = '{chalk_kind}'
    GROUP BY r.property_id
),
held_back AS (
    SELECT p.customer_id, MAX(h.at) AS at FROM reminders_heldback h JOIN customers_property p ON p.id = h.property_id
    WHERE h.at >= %(held_since)s GROUP BY p.customer_id
)"""

# How long the work of each line took last time: joined where every line is read, else looked up for those of a page.
# Not of chalk, which was on other walls.
_WORKED = """
worked AS (
    SELECT d.property_id, d.service_id, d.minutes FROM (
        SELECT i.property_id, i.service_id, l.minutes,
            ROW_NUMBER() OVER (PARTITION BY i.property_id, i.service_id ORDER BY v.work_date DESC, l.id DESC) AS rank
        FROM work_serviceinterval i JOIN work_job b ON b.property_id = i.property_id
        JOIN work_visit v ON v.job_id = b.id JOIN work_visitline l ON l.visit_id = v.id AND l.service_id = i.service_id
        WHERE i.next_due_on <= %(last_day)s AND l.minutes > 0
    ) d WHERE d.rank < 2
)"""
_WORKED_JOIN = """
    LEFT JOIN worked ON worked.property_id = l.property_id AND worked.service_id = l.service_id"""

_JUDGED = """
owned AS (
    SELECT l.*, p.customer_id, p.street, p.city, p.region, p.postal_code, p.latitude, p.longitude, p.storeys,
        c.name, c.email, c.phone_e164, c.language, contact.at AS contact_at,
        COALESCE(told.created_at, chalk_told.at) AS told_at, told.message_id AS told_by,
        hold.id AS hold_id, hold.until AS hold_until, held_back.at AS held_back_at,
        mail.no_id AS mail_no_id, mail.yes_at AS mail_yes_at, mail.closed_at AS mail_closed_at,
        texts.no_id AS text_no_id, texts.yes_at AS text_yes_at, texts.closed_at AS text_closed_at, texts.unread_at,
        CASE
            WHEN texts.unread_at IS NOT NULL THEN ''
            WHEN c.email <> '' AND mail.no_id IS NULL AND mail.closed_at IS NULL THEN 'email'
            WHEN texts.yes_at IS NOT NULL AND texts.no_id IS NULL AND texts.closed_at IS NULL THEN 'text'
            ELSE ''
        END AS channel{worked_column}
    FROM line l JOIN customers_property p ON p.id = l.property_id AND p.joined_into_id IS NULL
    JOIN customers_customer c ON c.id = p.customer_id
    LEFT JOIN contact ON contact.customer_id = c.id
    LEFT JOIN reminders_reminder told
        ON told.property_id = l.property_id AND told.kind = l.kind AND told.due_on = l.due_on
    LEFT JOIN chalk_told ON chalk_told.property_id = l.property_id AND {chalk_told_day} >= l.untold_since
    LEFT JOIN reminders_duehold hold
        ON hold.property_id = p.id AND (hold.until IS NULL OR hold.until > %(today)s)
    LEFT JOIN held_back ON held_back.customer_id = c.id
    LEFT JOIN way mail ON mail.channel = 'email' AND mail.address = LOWER(c.email)
    LEFT JOIN way texts ON texts.channel = 'text' AND texts.address = c.phone_e164{worked_join}
),
judged AS (
    SELECT o.*,
        CASE
            WHEN o.told_at IS NOT NULL THEN 'reminded'
            WHEN o.hold_id IS NOT NULL OR o.held_back_at IS NOT NULL THEN 'waits'
            WHEN o.channel = '' THEN 'no_channel'
            WHEN o.contact_at >= %(gap_since)s THEN 'waits'
            ELSE 'ready'
        END AS state
    FROM owned o
)"""

# NULL where chalk is about a wall whose area nobody knows.
AREA = """CASE WHEN j.wall_id IS NOT NULL THEN j.area_sqft ELSE COALESCE((
    SELECT SUM(w.area_sqft) FROM customers_wall w
    WHERE w.property_id = j.property_id AND w.kind = 'face' AND w.area_sqft IS NOT NULL
), 0) END"""
LAST_MINUTES = """(
    SELECT l.minutes FROM work_job b JOIN work_visit v ON v.job_id = b.id JOIN work_visitline l ON l.visit_id = v.id
    WHERE b.property_id = j.property_id AND l.minutes > 0 AND l.service_id = j.service_id
    ORDER BY v.work_date DESC, l.id DESC LIMIT 1
)"""
TOLD_STATE = """
CASE WHEN j.told_at IS NOT NULL THEN (
    SELECT m.state FROM reminders_reminder r JOIN outbox_message m ON m.id = r.message_id
    WHERE r.property_id = j.property_id
    AND (r.message_id = j.told_by OR (j.told_by IS NULL AND r.kind = '{chalk_kind}'))
    ORDER BY r.created_at DESC, r.id DESC LIMIT 1
) END""".replace("{chalk_kind}", CHALK)
AGREED_AT = "CASE j.channel WHEN 'email' THEN j.mail_yes_at WHEN 'text' THEN j.text_yes_at END"
MAIL_NO_AT = "CASE WHEN j.mail_no_id > 0 THEN (SELECT k.at FROM customers_consent k WHERE k.id = j.mail_no_id) END"
TEXT_NO_AT = "CASE WHEN j.text_no_id > 0 THEN (SELECT k.at FROM customers_consent k WHERE k.id = j.text_no_id) END"
_COUNTS = """
SELECT COUNT(*), COUNT(CASE WHEN j.state = 'ready' THEN 1 END), COUNT(CASE WHEN {wanted} THEN 1 END),
    COUNT(CASE WHEN j.state = 'ready' AND ({wanted}) THEN 1 END)
FROM judged j"""
_WHOLE = """
SELECT {columns} FROM judged j WHERE {wanted} ORDER BY {order}"""
_PAGE = """,
page AS (SELECT j.* FROM judged j WHERE {wanted} ORDER BY {order} LIMIT %(most)s OFFSET %(first)s)
SELECT {columns} FROM page j
ORDER BY {order}"""


def counts_sql(vendor: str, *, wanted: str, chalk_counts: bool, passes_on: str) -> str:
    """One row: all lines, those of them that are ready, those that are `wanted`, and the ready ones of these."""
    return _judged(vendor, chalk_counts, passes_on) + _COUNTS.format(wanted=wanted)


def lines_sql(
    vendor: str, *, columns: str, wanted: str, order: str, is_whole: bool, chalk_counts: bool, passes_on: str
) -> str:
    """The lines that are `wanted`, as `j`; the parameters `most` and `first` cut a page unless it `is_whole`.

    In the columns `{last_minutes}` is what the work took last time.
    """
    found = columns.format(last_minutes="j.last_minutes" if is_whole else LAST_MINUTES)
    rest = (_WHOLE if is_whole else _PAGE).format(columns=found, wanted=wanted, order=order)
    return _judged(vendor, chalk_counts, passes_on, is_whole) + rest


def local_day(vendor: str, at: str) -> str:
    """The day in the company's zone of an instant."""
    return _SPELLING[vendor]["local_day"].format(at=at)


def in_order(vendor: str) -> str:
    """The earliest first, then by property and kind."""
    return f"j.due_on, j.property_id, j.kind {_SPELLING[vendor]['by_letters']}"


def by_urgency(vendor: str) -> str:
    """What `domain.choosing.urgency` knows without the routes: the most overdue and longest unheard of first."""
    spelling = _SPELLING[vendor]
    overdue = spelling["days_before_today"].format(day="j.due_on")
    silence = spelling["days_before_today"].format(day=local_day(vendor, "j.contact_at"))
    units = f"COALESCE({silence}, {NEVER_COUNTS_DAYS}) / {SILENCE_UNIT_DAYS}"
    score = f"{overdue} / {OVERDUE_UNIT_DAYS} + {spelling['lesser_of'].format(one=units, other=MOST_SILENCE)}"
    return f"{score} DESC, {in_order(vendor)}"


def _judged(vendor: str, chalk_counts: bool, passes_on: str, with_worked: bool = False) -> str:
    steps = (_COMING, _BY_READING, _BY_FORECAST, _LINES, _WAYS, _TOLD, *([_WORKED] if with_worked else ()), _JUDGED)
    spelling = _SPELLING[vendor]
    read_due = spelling["read_due"].format(day="f.last_read_on")
    of_each = {wall: spelling["list_of"].format(one=f"CAST({wall}.wall_id AS text)") for wall in ("r", "f")}
    return "WITH" + ",".join(steps).format(
        chalk="1 = 1" if chalk_counts else "1 = 0",
        chalk_kind=CHALK,
        passes_on=passes_on,
        wall_read=spelling["wall_of"].format(one="r"),
        wall_passing=spelling["wall_of"].format(one="f"),
        read_walls=_ITS_WALLS.format(wall="r", wall_list=of_each["r"]),
        passing_walls=_ITS_WALLS.format(wall="f", wall_list=of_each["f"]),
        reading_due=spelling["read_due"].format(day="r.newest_on"),
        passing_due=spelling["later_of"].format(one=f"f.{passes_on}", other=read_due),
        chalk_told_day=local_day(vendor, "chalk_told.at"),
        worked_column=", worked.minutes AS last_minutes" if with_worked else "",
        worked_join=_WORKED_JOIN if with_worked else "",
    )
