"""Rows that are written once: a base class that refuses changes in Python, and a trigger that refuses them in the
database, on SQLite and PostgreSQL alike. A correction is a new row."""

from typing import Any, NoReturn

from django.db import models
from django.db.backends.base.schema import BaseDatabaseSchemaEditor
from django.db.migrations import RunPython


class AppendOnlyError(TypeError):
    """An attempt to change or remove a row of the history."""


class AppendOnlyQuerySet(models.QuerySet[Any]):
    def update(self, **kwargs: Any) -> NoReturn:
        raise AppendOnlyError(f"{self.model.__name__} rows are never changed; write a new one.")

    def delete(self) -> NoReturn:
        raise AppendOnlyError(f"{self.model.__name__} rows are never removed.")


class AppendOnlyModel(models.Model):
    """Base of the history tables. Add `append_only_trigger(table)` to the migration that makes the table."""

    objects = AppendOnlyQuerySet.as_manager()

    class Meta:
        abstract = True

    def save(self, *args: Any, **kwargs: Any) -> None:
        if self.pk is not None and not self._state.adding:
            raise AppendOnlyError(f"{type(self).__name__} rows are never changed; write a new one.")
        super().save(*args, **kwargs)

    def delete(self, *args: Any, **kwargs: Any) -> NoReturn:
        raise AppendOnlyError(f"{type(self).__name__} rows are never removed.")


_SQLITE = """CREATE TRIGGER {table}_append_only BEFORE UPDATE ON {table}
BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END"""
_POSTGRESQL = """CREATE FUNCTION {table}_append_only() RETURNS trigger LANGUAGE plpgsql AS
$$ BEGIN RAISE EXCEPTION '{table} is append-only'; END $$;
CREATE TRIGGER {table}_append_only BEFORE UPDATE ON {table}
FOR EACH ROW EXECUTE FUNCTION {table}_append_only()"""


def append_only_trigger(table: str) -> RunPython:
    """A migration step that makes the database itself refuse every UPDATE of `table`.

    SQLite makes a table anew when a later migration alters it, and the trigger is lost with the old one: such a
    migration must end with this step again (tests/shared/test_append_only.py notices when it does not).
    """

    def add(apps: Any, editor: BaseDatabaseSchemaEditor) -> None:
        remove(apps, editor)
        statement = _SQLITE if editor.connection.vendor == "sqlite" else _POSTGRESQL
        editor.execute(statement.format(table=table))

    def remove(apps: Any, editor: BaseDatabaseSchemaEditor) -> None:
        if editor.connection.vendor == "sqlite":
            editor.execute(f"DROP TRIGGER IF EXISTS {table}_append_only")
        else:
            editor.execute(f"DROP FUNCTION IF EXISTS {table}_append_only() CASCADE")

    return RunPython(add, remove)
