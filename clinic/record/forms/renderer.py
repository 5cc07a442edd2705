"""Forms are drawn by our own field template."""

from django.forms.renderers import TemplatesSetting


class FormRenderer(TemplatesSetting):
    field_template_name = "components/field.html"
