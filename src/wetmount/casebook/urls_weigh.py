"""PLACEHOLDER, to be replaced by the helper "weigh": addresses of its pages."""

from django.urls import URLPattern, path

from wetmount.casebook.views.placeholder import placeholder

urlpatterns: list[URLPattern] = [
    path("reference/", placeholder, {"place": "reference"}, name="reference"),
    path("settings/", placeholder, {"place": "settings"}, name="settings"),
]
