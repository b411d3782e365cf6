"""Addresses of the weigh-up, the report, the reference and the settings."""

from django.urls import URLPattern, path

from wetmount.casebook.views import preferences, reference, report, weigh, weigh_rows, what_if

urlpatterns: list[URLPattern] = [
    path("case/<int:number>/weigh-up/", weigh.weigh_up, name="weigh_up"),
    path("case/<int:number>/weigh-up/what-if/", what_if.what_if, name="what_if"),
    path("case/<int:number>/weigh-up/rows/<slug:about>/", weigh_rows.rows, name="weigh_rows"),
    path("case/<int:number>/report/", report.report, name="report"),
    path("case/<int:number>/report/file/", report.file, name="report_file"),
    path("reference/", reference.index, name="reference"),
    path("reference/<slug:table>/", reference.table, name="reference_table"),
    path("reference/<slug:table>/<path:id>/", reference.row, name="reference_row"),
    path("settings/", preferences.settings, name="settings"),
    path("settings/costs/", preferences.costs, name="settings_costs"),
    path("settings/rows/", preferences.own_rows, name="settings_rows"),
]
