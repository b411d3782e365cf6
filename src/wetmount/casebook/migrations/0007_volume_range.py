"""The least and the most water a tank or a system may plausibly hold, beside the best figure."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("casebook", "0006_search_words")]
    operations = [
        migrations.AddField(model, name, models.FloatField(null=True, blank=True))
        for model in ("system", "tank")
        for name in ("volume_low_l", "volume_high_l")
    ]
