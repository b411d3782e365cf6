"""PLACEHOLDER, to be replaced by the helper "keep": addresses of its pages."""

from django.urls import URLPattern

urlpatterns: list[URLPattern] = []
