"""Estimates with their lines and options; what was sent, printed and answered is append-only."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

from shared.events.append_only import append_only_trigger


class Migration(migrations.Migration):

    initial = True

    dependencies = [
        ('catalogue', '0002_walkthrough'),
        ('outbox', '0002_schedule'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name='EstimatePrint',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('language', models.CharField(max_length=5)),
                ('title', models.CharField(max_length=200)),
                ('html', models.TextField()),
                ('html_digest', models.CharField(max_length=64)),
                ('choices', models.JSONField()),
                ('pdf_file', models.CharField(help_text='random name below MEDIA_ROOT', max_length=100, unique=True)),
                ('pdf_digest', models.CharField(max_length=64)),
            ],
            options={
                'ordering': ['sent', 'language'],
            },
        ),
        migrations.CreateModel(
            name='Estimate',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('job_ref', models.PositiveBigIntegerField(db_index=True, help_text='the job that it is for')),
                ('property_ref', models.PositiveBigIntegerField(db_index=True)),
                ('customer_name', models.CharField(max_length=120)),
                ('place', models.CharField(help_text='the address as it was printed', max_length=300)),
                ('language', models.CharField(default='en', max_length=5)),
                ('storeys', models.PositiveSmallIntegerField(default=1)),
                ('year_built', models.PositiveSmallIntegerField(blank=True, null=True)),
                ('state', models.CharField(choices=[('draft', 'not sent'), ('sent', 'sent'), ('accepted', 'accepted'), ('declined', 'declined'), ('taken_back', 'taken back')], default='draft', max_length=10)),
                ('version', models.PositiveIntegerField(default=1)),
                ('revision', models.PositiveSmallIntegerField(default=0, help_text='how often it was sent')),
                ('made_at', models.DateTimeField()),
                ('valid_until', models.DateField(help_text='Last day on which it can be accepted')),
                ('target_cents_per_crew_hour', models.PositiveIntegerField()),
                ('reserve_cents_per_crew_hour', models.PositiveIntegerField()),
                ('drive_minutes', models.PositiveIntegerField(help_text="share of a route's driving")),
                ('drive_metres', models.PositiveIntegerField(default=0)),
                ('drive_basis', models.CharField(choices=[('days', 'where it adds least to the days planned lately'), ('there_and_back', 'there and back, shared by the stops of a usual route'), ('booked', 'the average of the jobs booked'), ('unknown', 'not known, counted as nothing'), ('office', 'set by the office')], max_length=14)),
                ('drive_days', models.PositiveSmallIntegerField(default=0, help_text='days that it was taken from')),
                ('drive_source', models.CharField(blank=True, help_text='where the drive times came from', max_length=60)),
                ('tax_millionths', models.PositiveIntegerField(blank=True, help_text='88750 is 8.875 %; empty: no rate was entered', null=True)),
                ('note', models.TextField(blank=True, help_text='Printed for the homeowner')),
                ('made_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'ordering': ['-id'],
            },
        ),
        migrations.CreateModel(
            name='EstimateLine',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('position', models.PositiveSmallIntegerField()),
                ('quantity', models.PositiveIntegerField()),
                ('is_addition', models.BooleanField(default=False)),
                ('wall_refs', models.JSONField(blank=True, default=list)),
                ('wall_names', models.JSONField(blank=True, default=list)),
                ('minutes', models.PositiveIntegerField(help_text='expected, on site, two-person crew')),
                ('median_minutes', models.PositiveIntegerField()),
                ('q80_minutes', models.PositiveIntegerField()),
                ('q90_minutes', models.PositiveIntegerField()),
                ('minutes_why', models.JSONField(blank=True, default=list, help_text='how the minutes came about, in words')),
                ('card_minutes', models.PositiveIntegerField(blank=True, null=True)),
                ('card_price_cents', models.PositiveIntegerField(blank=True, null=True)),
                ('materials_cents', models.PositiveIntegerField(default=0)),
                ('target_price_cents', models.PositiveIntegerField(help_text='what its hours ask at the target')),
                ('least_price_cents', models.PositiveIntegerField(help_text='what its hours and materials ask at the reserve')),
                ('price_cents', models.PositiveIntegerField()),
                ('price_why', models.CharField(choices=[('card', 'the rate card'), ('target', 'its hours at the target'), ('least', 'materials and its hours at the reserve'), ('office', 'the office')], max_length=6)),
                ('estimate', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='lines', to='estimates.estimate')),
                ('service', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='estimate_lines', to='catalogue.service')),
            ],
            options={
                'ordering': ['estimate', 'position'],
            },
        ),
        migrations.CreateModel(
            name='EstimateOption',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('position', models.PositiveSmallIntegerField()),
                ('name', models.CharField(blank=True, help_text='Empty: named after its services', max_length=80)),
                ('discount_cents', models.PositiveIntegerField(default=0)),
                ('estimate', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='options', to='estimates.estimate')),
                ('lines', models.ManyToManyField(related_name='options', to='estimates.estimateline')),
            ],
            options={
                'ordering': ['estimate', 'position'],
            },
        ),
        migrations.CreateModel(
            name='EstimateAnswer',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('accepted', models.BooleanField()),
                ('option_position', models.PositiveSmallIntegerField(blank=True, null=True)),
                ('option_name', models.CharField(blank=True, max_length=400)),
                ('total_cents', models.PositiveIntegerField(blank=True, null=True)),
                ('typed_name', models.CharField(max_length=120)),
                ('statement', models.TextField(help_text='the sentence that stood above the name')),
                ('reason', models.CharField(blank=True, max_length=300)),
                ('html_digest', models.CharField(max_length=64)),
                ('pdf_digest', models.CharField(max_length=64)),
                ('by_link', models.BooleanField(help_text='through the link, not told to the office')),
                ('device', models.CharField(blank=True, max_length=300)),
                ('at', models.DateTimeField()),
                ('estimate', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='answer', to='estimates.estimate')),
                ('recorded_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('shown', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='estimates.estimateprint')),
            ],
            options={
                'ordering': ['-id'],
            },
        ),
        migrations.CreateModel(
            name='SentEstimate',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('revision', models.PositiveSmallIntegerField()),
                ('sent_at', models.DateTimeField()),
                ('sent_how', models.CharField(choices=[('email', 'by email'), ('text', 'by text message'), ('paper', 'on paper or shown on the spot')], max_length=5)),
                ('valid_until', models.DateField()),
                ('figures', models.JSONField()),
                ('estimate', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='sendings', to='estimates.estimate')),
                ('sent_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'ordering': ['-id'],
            },
        ),
        migrations.AddField(
            model_name='estimateprint',
            name='sent',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='prints', to='estimates.sentestimate'),
        ),
        migrations.CreateModel(
            name='EstimateMessage',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('kind', models.CharField(choices=[('sent', 'the estimate'), ('expiring', 'it ends soon'), ('accepted', 'what was agreed')], max_length=8)),
                ('message', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='estimate_message', to='outbox.message')),
                ('sent', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='messages', to='estimates.sentestimate')),
            ],
            options={
                'ordering': ['-id'],
            },
        ),
        migrations.AddIndex(
            model_name='estimate',
            index=models.Index(fields=['state', 'valid_until'], name='estimate_open_until'),
        ),
        migrations.AddConstraint(
            model_name='estimate',
            constraint=models.CheckConstraint(condition=models.Q(('state__in', ['draft', 'sent', 'accepted', 'declined', 'taken_back'])), name='estimate_state_known'),
        ),
        migrations.AddConstraint(
            model_name='estimate',
            constraint=models.CheckConstraint(condition=models.Q(('drive_basis__in', ['days', 'there_and_back', 'booked', 'unknown', 'office'])), name='estimate_drive_basis_known'),
        ),
        migrations.AddConstraint(
            model_name='estimate',
            constraint=models.CheckConstraint(condition=models.Q(('tax_millionths__isnull', True), ('tax_millionths__lt', 1000000), _connector='OR'), name='estimate_tax_below_all', violation_error_message='A tax rate is from 0 to less than 100 percent.'),
        ),
        migrations.AddConstraint(
            model_name='estimate',
            constraint=models.UniqueConstraint(condition=models.Q(('state__in', ['draft', 'sent'])), fields=('job_ref',), name='estimate_one_open_per_job', violation_error_message='This job has an open estimate already.'),
        ),
        migrations.AddConstraint(
            model_name='estimateline',
            constraint=models.UniqueConstraint(fields=('estimate', 'position'), name='estimate_line_position_once'),
        ),
        migrations.AddConstraint(
            model_name='estimateline',
            constraint=models.CheckConstraint(condition=models.Q(('quantity__gte', 1)), name='estimate_line_has_quantity'),
        ),
        migrations.AddConstraint(
            model_name='estimateline',
            constraint=models.CheckConstraint(condition=models.Q(('minutes__gte', 1)), name='estimate_line_has_minutes'),
        ),
        migrations.AddConstraint(
            model_name='estimateline',
            constraint=models.CheckConstraint(condition=models.Q(('median_minutes__gte', 1), ('q90_minutes__gte', models.F('median_minutes'))), name='estimate_line_quantiles_ordered'),
        ),
        migrations.AddConstraint(
            model_name='estimateline',
            constraint=models.CheckConstraint(condition=models.Q(('price_why__in', ['card', 'target', 'least', 'office'])), name='estimate_price_why_known'),
        ),
        migrations.AddConstraint(
            model_name='estimateoption',
            constraint=models.UniqueConstraint(fields=('estimate', 'position'), name='estimate_option_position_once'),
        ),
        migrations.AddConstraint(
            model_name='estimateanswer',
            constraint=models.CheckConstraint(condition=models.Q(('typed_name', ''), _negated=True), name='estimate_answer_has_name'),
        ),
        migrations.AddConstraint(
            model_name='estimateanswer',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('accepted', True), ('option_position__isnull', False), ('total_cents__isnull', False)), models.Q(('accepted', False), ('option_position__isnull', True), ('total_cents__isnull', True)), _connector='OR'), name='estimate_yes_names_its_option'),
        ),
        migrations.AddConstraint(
            model_name='sentestimate',
            constraint=models.UniqueConstraint(fields=('estimate', 'revision'), name='sent_estimate_revision_once'),
        ),
        migrations.AddConstraint(
            model_name='sentestimate',
            constraint=models.CheckConstraint(condition=models.Q(('sent_how__in', ['email', 'text', 'paper'])), name='sent_estimate_way_known'),
        ),
        migrations.AddConstraint(
            model_name='estimateprint',
            constraint=models.UniqueConstraint(fields=('sent', 'language'), name='estimate_print_once'),
        ),
        migrations.AddConstraint(
            model_name='estimatemessage',
            constraint=models.UniqueConstraint(fields=('sent', 'kind'), name='estimate_message_once'),
        ),
        migrations.AddConstraint(
            model_name='estimatemessage',
            constraint=models.CheckConstraint(condition=models.Q(('kind__in', ['sent', 'expiring', 'accepted'])), name='estimate_message_kind_known'),
        ),
        append_only_trigger("estimates_sentestimate"),
        append_only_trigger("estimates_estimateprint"),
        append_only_trigger("estimates_estimateanswer"),
        append_only_trigger("estimates_estimatemessage"),
    ]
