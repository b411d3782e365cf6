"""PLACEHOLDER, to be replaced by the helper "today": addresses of its pages."""

from django.urls import URLPattern, path

from wetmount.casebook.views.placeholder import placeholder

urlpatterns: list[URLPattern] = [
    path("", placeholder, {"place": "today"}, name="today"),
    path("cases/", placeholder, {"place": "cases"}, name="cases"),
    path("rooms/", placeholder, {"place": "rooms"}, name="rooms"),
]
