"""Letters beyond ASCII, compared alike on SQLite and PostgreSQL.

SQLite's LIKE, LOWER and UPPER fold A to Z only: É and é are two letters to it, and one to PostgreSQL. Here are the two
remedies, so that nobody else need think of it.

Searching: `icontains`, `iexact`, `istartswith` and `iendswith` of text columns fold every letter on SQLite as well,
with a function that each connection is given (`letters_register`, when Django starts). Words of ASCII alone go on
without it, as fast as before.

Mail addresses: LOWER stands in indexes and in statements over everybody, where a function of Python's would be slow and
what an index holds would depend on it. So addresses are stored with their letters beyond ASCII small (`MailField`,
`small_beyond_ascii`), and both databases' LOWER and Python's `lower` say the same of them.
"""

from typing import Any

from django.db.backends.signals import connection_created
from django.db.models import CharField, EmailField, TextField
from django.db.models.lookups import IContains, IEndsWith, IExact, IStartsWith

CAPITALS = "WALLDAY_CAPITALS"


def capitals(text: str | None) -> str | None:
    """Every letter as a capital that has one capital, as PostgreSQL's UPPER does: ß stays ß."""
    if text is None or text.isascii():
        return text and text.upper()
    return "".join(large if len(large := letter.upper()) == 1 else letter for letter in text)


def small_beyond_ascii(text: str) -> str:
    """The text with its letters beyond ASCII small, and those of ASCII as they were written."""
    return text if text.isascii() else "".join(each if each.isascii() else each.lower() for each in text)


class MailField(EmailField):
    """A mail address whose LOWER is the same on both databases and in Python."""

    def get_prep_value(self, value: Any) -> Any:
        value = super().get_prep_value(value)
        return small_beyond_ascii(value) if isinstance(value, str) else value


class _EveryLetter:
    """Mixed into a lookup that does not care for case: on SQLite both sides in capitals where the words need it."""

    def as_sqlite(self: Any, compiler: Any, connection: Any, **context: Any) -> tuple[str, list[Any]]:
        if not self.rhs_is_direct_value() or str(self.rhs).isascii():
            sql, parameters = self.as_sql(compiler, connection, **context)
            return sql, list(parameters)
        column, parameters = self.process_lhs(compiler, connection)
        words, wanted = self.process_rhs(compiler, connection)
        compared = self.get_rhs_op(connection, words)
        return f"{CAPITALS}({column}) {compared}", [*parameters, *map(capitals, wanted)]


class _IContains(_EveryLetter, IContains):
    pass


class _IExact(_EveryLetter, IExact):
    pass


class _IStartsWith(_EveryLetter, IStartsWith):
    pass


class _IEndsWith(_EveryLetter, IEndsWith):
    pass


def letters_register() -> None:
    """Put the lookups in place of Django's own, and give each connection to SQLite its function."""
    for field in (CharField, TextField):
        for lookup in (_IContains, _IExact, _IStartsWith, _IEndsWith):
            field.register_lookup(lookup)
    connection_created.connect(_give_function, dispatch_uid="shared.letters")


def _give_function(connection: Any, **_signal: Any) -> None:
    if connection.vendor == "sqlite":
        connection.connection.create_function(CAPITALS, 1, capitals, deterministic=True)
