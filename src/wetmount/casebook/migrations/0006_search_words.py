"""PostgreSQL keeps the words of a case beside its text, so that searching reads them instead of taking texts apart."""

from django.db import migrations

FORWARDS = [
    "ALTER TABLE casebook_casetext ADD COLUMN words tsvector "
    "GENERATED ALWAYS AS (to_tsvector('simple'::regconfig, body)) STORED",
    "DROP INDEX casebook_casetext_index",
    "CREATE INDEX casebook_casetext_index ON casebook_casetext USING gin (words)",
    "ANALYZE casebook_casetext",
]


def keep_words(apps, editor):
    if editor.connection.vendor == "postgresql":
        for statement in FORWARDS:
            editor.execute(statement, params=None)


class Migration(migrations.Migration):
    dependencies = [("casebook", "0005_indexes")]
    operations = [migrations.RunPython(keep_words, migrations.RunPython.noop)]
