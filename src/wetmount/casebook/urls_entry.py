"""PLACEHOLDER, to be replaced by the helper "entry": addresses of its pages."""

from django.urls import URLPattern, path

from wetmount.casebook.views.placeholder import placeholder

urlpatterns: list[URLPattern] = [
    path("case/<int:number>/", placeholder, {"place": "cases"}, name="case"),
    path("case/<int:number>/<slug:step>/", placeholder, {"place": "cases"}, name="case_step"),
]
