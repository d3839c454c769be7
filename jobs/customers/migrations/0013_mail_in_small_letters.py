"""Mail addresses get their letters beyond ASCII small, as they are stored from now on."""

from django.db import migrations

import shared.letters
from shared.letters import small_beyond_ascii


def make_small(apps, schema_editor):
    customers = apps.get_model("customers", "Customer").objects.exclude(email="").order_by("pk")
    written = customers.values_list("pk", "email").iterator(chunk_size=2000)
    other = [(pk, email) for pk, email in written if small_beyond_ascii(email) != email]
    for pk, email in other:
        apps.get_model("customers", "Customer").objects.filter(pk=pk).update(email=small_beyond_ascii(email))


class Migration(migrations.Migration):

    dependencies = [
        ('customers', '0012_joined_entries_free_their_address'),
    ]

    operations = [
        migrations.AlterField(
            model_name='customer',
            name='email',
            field=shared.letters.MailField(blank=True, max_length=254),
        ),
        migrations.RunPython(make_small, migrations.RunPython.noop),
    ]
