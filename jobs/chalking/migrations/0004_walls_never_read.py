
from django.db import migrations, models


def say_untested(apps, editor):
    """Until the next night, what was too early to forecast is said to have too little data."""
    early = apps.get_model("chalking", "WallForecast").objects.filter(refusal="too_early")
    early.update(refusal="too_wide", is_untested=True)


def forget_untested(apps, editor):
    apps.get_model("chalking", "WallForecast").objects.filter(is_untested=True).delete()


class Migration(migrations.Migration):

    dependencies = [
        ('chalking', '0003_younger_siding'),
        ('customers', '0011_faces_by_house'),
    ]

    operations = [
        migrations.RemoveConstraint(
            model_name='wallforecast',
            name='forecast_refusal_known',
        ),
        migrations.RemoveConstraint(
            model_name='wallforecast',
            name='forecast_since_known',
        ),
        migrations.RemoveIndex(
            model_name='wallforecast',
            name='forecast_early',
        ),
        migrations.RemoveIndex(
            model_name='wallforecast',
            name='forecast_middle',
        ),
        migrations.AddField(
            model_name='wallforecast',
            name='is_untested',
            field=models.BooleanField(default=False),
        ),
        migrations.AlterField(
            model_name='wallforecast',
            name='last_read_on',
            field=models.DateField(blank=True, help_text='Empty where the wall was never read', null=True),
        ),
        migrations.AlterField(
            model_name='wallforecast',
            name='refusal',
            field=models.CharField(blank=True, choices=[('', 'none'), ('no_start', 'nobody knows since when it weathers'), ('too_wide', 'too little data')], default='', max_length=9),
        ),
        migrations.AlterField(
            model_name='wallforecast',
            name='since_what',
            field=models.CharField(choices=[('removal', 'chalk was taken off'), ('fitted', 'fitted or painted'), ('built', 'house was built'), ('within', 'some time since the house was built; only its year is known'), ('guessed', 'judged by the readings; only the year of the house is known'), ('unknown', 'not known')], default='unknown', max_length=8),
        ),
        migrations.RunPython(say_untested, forget_untested),
        migrations.AddIndex(
            model_name='wallforecast',
            index=models.Index(fields=['refusal', 'is_untested', 'early_on'], name='forecast_early'),
        ),
        migrations.AddIndex(
            model_name='wallforecast',
            index=models.Index(fields=['refusal', 'is_untested', 'middle_on'], name='forecast_middle'),
        ),
        migrations.AddConstraint(
            model_name='wallforecast',
            constraint=models.CheckConstraint(condition=models.Q(('refusal__in', ['', 'no_start', 'too_wide'])), name='forecast_refusal_known'),
        ),
        migrations.AddConstraint(
            model_name='wallforecast',
            constraint=models.CheckConstraint(condition=models.Q(('since_what__in', ['removal', 'fitted', 'built', 'within', 'guessed', 'unknown'])), name='forecast_since_known'),
        ),
        migrations.AddConstraint(
            model_name='wallforecast',
            constraint=models.CheckConstraint(condition=models.Q(('last_read_on__isnull', False), models.Q(('is_untested', True), ('reading_count', 0)), _connector='OR'), name='forecast_never_read_is_untested'),
        ),
    ]
