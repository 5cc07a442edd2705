import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):

    initial = True

    dependencies = [
    ]

    operations = [
        migrations.CreateModel(
            name='ReliefPlan',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('code', models.CharField(max_length=6, unique=True, verbose_name='sheet code')),
                ('number', models.PositiveSmallIntegerField(default=1, verbose_name='version of the plan')),
                ('replaces', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='replaced_by', to='offload.reliefplan')),
                ('state', models.CharField(choices=[('draft', 'Draft'), ('signed', 'Signed'), ('superseded', 'Replaced')], default='draft', max_length=10)),
                ('side', models.CharField(max_length=5)),
                ('spec', models.JSONField()),
                ('result', models.JSONField()),
                ('sha256', models.CharField(max_length=64)),
                ('core_version', models.CharField(max_length=20)),
                ('departure_reason', models.CharField(blank=True, max_length=300, verbose_name='why it departs from the policy')),
                ('shut_reason', models.CharField(blank=True, max_length=300, verbose_name='why it is cut although the space is predicted to close')),
                ('created_at', models.DateTimeField()),
                ('made_by', models.CharField(max_length=160)),
                ('signed_at', models.DateTimeField(blank=True, null=True)),
                ('signed_by', models.CharField(blank=True, max_length=160)),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
            ],
            options={
                'ordering': ['-pk'],
                'constraints': [models.CheckConstraint(condition=models.Q(('side__in', ['left', 'right'])), name='relief_plan_side'), models.CheckConstraint(condition=models.Q(('state__in', ['draft', 'signed', 'superseded'])), name='relief_plan_state'), models.CheckConstraint(condition=models.Q(('state', 'draft'), ('signed_at__isnull', False), _connector='OR'), name='relief_plan_signed_dated')],
            },
        ),
        migrations.CreateModel(
            name='PlanStep',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('plan', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='steps', to='offload.reliefplan')),
                ('kind', models.CharField(choices=[('cut', 'Cut'), ('fitted', 'Fitted'), ('contact', 'Contact check'), ('undone', 'Taken back')], max_length=7)),
                ('done_on', models.DateField()),
                ('recorded_at', models.DateTimeField()),
                ('done_by', models.CharField(max_length=160)),
                ('passed', models.BooleanField()),
                ('bar_mm', models.DecimalField(blank=True, decimal_places=1, max_digits=5, null=True, verbose_name='measured bar (mm)')),
                ('depth_mm', models.DecimalField(blank=True, decimal_places=1, max_digits=4, null=True, verbose_name='depth measured (mm)')),
                ('depth_planned_mm', models.DecimalField(blank=True, decimal_places=1, max_digits=4, null=True)),
                ('found', models.CharField(blank=True, choices=[('clean', 'Clean: no mark in the empty opening'), ('touched', 'Touched: a mark in the empty opening'), ('unreadable', 'Not readable: smeared, shifted, or the dummy left no mark')], max_length=10)),
                ('method', models.CharField(blank=True, choices=[('marker', 'Marker on the underside of the cover'), ('film', 'Film on the base of the opening')], max_length=6)),
                ('dummy_marked', models.BooleanField(blank=True, null=True, verbose_name='the dummy left its mark')),
                ('where', models.JSONField(blank=True, default=list, verbose_name='where marks lie')),
                ('takes_back', models.OneToOneField(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='taken_back_by', to='offload.planstep')),
                ('note', models.CharField(blank=True, max_length=200)),
            ],
            options={
                'ordering': ['pk'],
                'constraints': [models.CheckConstraint(condition=models.Q(('kind__in', ['cut', 'fitted', 'contact', 'undone'])), name='plan_step_kind'), models.CheckConstraint(condition=models.Q(models.Q(('kind', 'cut'), _negated=True), models.Q(('bar_mm__gte', 99.5), ('bar_mm__lte', 100.5), ('depth_mm__isnull', False)), _connector='OR'), name='plan_step_cut_measured'), models.CheckConstraint(condition=models.Q(models.Q(('kind', 'contact'), _negated=True), models.Q(('found__in', ['touched', 'unreadable']), ('passed', False)), models.Q(('dummy_marked', True), ('found', 'clean'), ('passed', True)), _connector='OR'), name='plan_step_contact_told'), models.CheckConstraint(condition=models.Q(models.Q(('kind', 'undone'), ('takes_back__isnull', False)), models.Q(models.Q(('kind', 'undone'), _negated=True), ('takes_back__isnull', True)), _connector='OR'), name='plan_step_undone_names_it')],
            },
        ),
        migrations.CreateModel(
            name='PlanMeasurement',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('plan', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='measurements', to='offload.reliefplan')),
                ('label', models.CharField(max_length=20, verbose_name='lesion')),
                ('measured_on', models.DateField()),
                ('from_map', models.BooleanField(default=False)),
                ('without_kpa', models.FloatField(verbose_name='peak without the cut (kPa)')),
                ('with_kpa', models.FloatField(verbose_name='peak with the cut (kPa)')),
                ('predicted_before_kpa', models.FloatField()),
                ('predicted_after_kpa', models.FloatField()),
                ('basis', models.CharField(choices=[('patch', 'mean over 1.5 cm²'), ('cell', 'highest cell')], default='patch', max_length=5)),
                ('target_kind', models.CharField(choices=[('peak', 'Peak with the cut at most (kPa)'), ('less', 'Less than without the cut by at least (%)'), ('none', 'No target set')], default='none', max_length=4, verbose_name='target')),
                ('target', models.FloatField(blank=True, null=True)),
                ('note', models.CharField(blank=True, max_length=200)),
                ('recorded_at', models.DateTimeField()),
                ('made_by', models.CharField(max_length=160)),
            ],
            options={
                'ordering': ['-measured_on', '-pk'],
                'constraints': [models.CheckConstraint(condition=models.Q(('with_kpa__gte', 0), ('without_kpa__gt', 0)), name='plan_measurement_positive'), models.CheckConstraint(condition=models.Q(models.Q(('target__isnull', True), ('target_kind', 'none')), models.Q(('target__gt', 0), ('target_kind__in', ['peak', 'less'])), _connector='OR'), name='plan_measurement_target')],
            },
        ),
        migrations.CreateModel(
            name='ClinicFoam',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('key', models.SlugField(max_length=40, unique=True, verbose_name='id')),
                ('label', models.CharField(max_length=80, verbose_name='name')),
                ('hardness', models.CharField(blank=True, max_length=40, verbose_name='hardness with its scale')),
                ('points', models.JSONField(verbose_name='measured points: strain, stress in kPa')),
                ('modulus_kpa', models.FloatField()),
                ('locking_strain', models.FloatField()),
                ('misfit_kpa', models.FloatField()),
                ('worst_kpa', models.FloatField()),
                ('source', models.CharField(max_length=200, verbose_name='who measured it, and how')),
                ('measured_on', models.DateField()),
                ('made_by', models.CharField(max_length=160)),
                ('created_at', models.DateTimeField()),
                ('retired_at', models.DateTimeField(blank=True, null=True)),
            ],
            options={
                'ordering': ['label', 'pk'],
                'constraints': [models.CheckConstraint(condition=models.Q(('locking_strain__gt', 0), ('locking_strain__lte', 1), ('modulus_kpa__gt', 0)), name='clinic_foam_law')],
            },
        ),
    ]
