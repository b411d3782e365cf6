"""The database itself guards the record of changes, and keeps the index for searching.

Acts and changes are never altered. They go only when their case is gone for good, and those of no case never.
"""

from django.db import migrations

SQLITE = [
    "CREATE TRIGGER casebook_act_never_altered BEFORE UPDATE ON casebook_act "
    "BEGIN SELECT RAISE(ABORT, 'the record of changes is only ever added to'); END",
    "CREATE TRIGGER casebook_change_never_altered BEFORE UPDATE ON casebook_change "
    "BEGIN SELECT RAISE(ABORT, 'the record of changes is only ever added to'); END",
    "CREATE TRIGGER casebook_act_kept BEFORE DELETE ON casebook_act "
    "WHEN OLD.case_id IS NULL OR EXISTS (SELECT 1 FROM casebook_case WHERE id = OLD.case_id) "
    "BEGIN SELECT RAISE(ABORT, 'the record of changes is only ever added to'); END",
    "CREATE TRIGGER casebook_change_kept BEFORE DELETE ON casebook_change "
    "WHEN EXISTS (SELECT 1 FROM casebook_act a WHERE a.id = OLD.act_id AND (a.case_id IS NULL "
    "OR EXISTS (SELECT 1 FROM casebook_case c WHERE c.id = a.case_id))) "
    "BEGIN SELECT RAISE(ABORT, 'the record of changes is only ever added to'); END",
    "CREATE VIRTUAL TABLE casebook_casetext_index USING fts5(body, content='casebook_casetext', "
    "content_rowid='case_id', tokenize='unicode61 remove_diacritics 2', prefix='2 3')",
    "CREATE TRIGGER casebook_casetext_added AFTER INSERT ON casebook_casetext BEGIN "
    "INSERT INTO casebook_casetext_index(rowid, body) VALUES (NEW.case_id, NEW.body); END",
    "CREATE TRIGGER casebook_casetext_gone AFTER DELETE ON casebook_casetext BEGIN "
    "INSERT INTO casebook_casetext_index(casebook_casetext_index, rowid, body) "
    "VALUES ('delete', OLD.case_id, OLD.body); END",
    "CREATE TRIGGER casebook_casetext_altered AFTER UPDATE ON casebook_casetext BEGIN "
    "INSERT INTO casebook_casetext_index(casebook_casetext_index, rowid, body) "
    "VALUES ('delete', OLD.case_id, OLD.body); "
    "INSERT INTO casebook_casetext_index(rowid, body) VALUES (NEW.case_id, NEW.body); END",
]

POSTGRESQL = [
    """
    CREATE FUNCTION casebook_never_altered() RETURNS trigger LANGUAGE plpgsql AS $$
    BEGIN
        RAISE EXCEPTION 'the record of changes is only ever added to';
    END $$
    """,
    """
    CREATE FUNCTION casebook_act_kept() RETURNS trigger LANGUAGE plpgsql AS $$
    BEGIN
        IF OLD.case_id IS NULL OR EXISTS (SELECT 1 FROM casebook_case WHERE id = OLD.case_id) THEN
            RAISE EXCEPTION 'the record of changes is only ever added to';
        END IF;
        RETURN OLD;
    END $$
    """,
    """
    CREATE FUNCTION casebook_change_kept() RETURNS trigger LANGUAGE plpgsql AS $$
    BEGIN
        IF EXISTS (SELECT 1 FROM casebook_act a WHERE a.id = OLD.act_id AND (a.case_id IS NULL
                   OR EXISTS (SELECT 1 FROM casebook_case c WHERE c.id = a.case_id))) THEN
            RAISE EXCEPTION 'the record of changes is only ever added to';
        END IF;
        RETURN OLD;
    END $$
    """,
    "CREATE TRIGGER casebook_act_never_altered BEFORE UPDATE ON casebook_act "
    "FOR EACH ROW EXECUTE FUNCTION casebook_never_altered()",
    "CREATE TRIGGER casebook_change_never_altered BEFORE UPDATE ON casebook_change "
    "FOR EACH ROW EXECUTE FUNCTION casebook_never_altered()",
    "CREATE TRIGGER casebook_act_kept BEFORE DELETE ON casebook_act FOR EACH ROW EXECUTE FUNCTION casebook_act_kept()",
    "CREATE TRIGGER casebook_change_kept BEFORE DELETE ON casebook_change "
    "FOR EACH ROW EXECUTE FUNCTION casebook_change_kept()",
    "CREATE INDEX casebook_casetext_index ON casebook_casetext USING gin (to_tsvector('simple', body))",
]


def guard(apps, editor):
    for statement in POSTGRESQL if editor.connection.vendor == "postgresql" else SQLITE:
        editor.execute(statement, params=None)


class Migration(migrations.Migration):
    dependencies = [("casebook", "0001_tables")]
    operations = [migrations.RunPython(guard, migrations.RunPython.noop)]
