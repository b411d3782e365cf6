"""What became of the fish, asked when a case is closed.

SQLite adds such a column by making the table of cases anew, and the guard of the record of changes looks at that table:
it steps aside meanwhile. A later migration that alters `casebook_case` needs the same two operations.
"""

from importlib import import_module

from django.db import migrations, models

GUARDS = [
    statement
    for statement in import_module("wetmount.casebook.migrations.0002_append_only_and_search").SQLITE
    if statement.startswith("CREATE TRIGGER") and "casetext" not in statement
]


def guards_aside(apps, editor):
    if editor.connection.vendor == "sqlite":
        for statement in GUARDS:
            editor.execute(f"DROP TRIGGER {statement.split()[2]}", params=None)


def guards_back(apps, editor):
    if editor.connection.vendor == "sqlite":
        for statement in GUARDS:
            editor.execute(statement, params=None)


class Migration(migrations.Migration):
    dependencies = [("casebook", "0003_received")]
    operations = [
        migrations.RunPython(guards_aside, guards_back),
        migrations.AddField(
            model_name="case",
            name="outcome",
            field=models.CharField(
                blank=True,
                choices=[
                    ("recovered", "recovered"),
                    ("partly", "recovered in part"),
                    ("lost", "lost: died or put down"),
                    ("unchanged", "unchanged"),
                    ("unknown", "not known"),
                ],
                default="",
                max_length=12,
            ),
            preserve_default=False,
        ),
        migrations.AddField(
            model_name="case",
            name="outcome_note",
            field=models.TextField(blank=True, default=""),
            preserve_default=False,
        ),
        migrations.RunPython(guards_back, guards_aside),
    ]
