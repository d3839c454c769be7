from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("roads", "0002_ways")]

    operations = [
        migrations.CreateModel(
            name="TrafficTable",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("version", models.PositiveIntegerField(default=1)),
            ],
        ),
    ]
