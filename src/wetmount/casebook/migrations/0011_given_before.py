"""What was given before a plan; null is not said, an empty list is nothing."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("casebook", "0010_rooms_in_time")]
    operations = [migrations.AddField("planchoice", "given", models.JSONField(null=True, blank=True))]
