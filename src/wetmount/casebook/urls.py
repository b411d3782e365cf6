"""Addresses. Each group of pages has its own module of addresses."""

from django.urls import URLPattern, URLResolver, include, path

from wetmount.casebook.views import devices, pages

urlpatterns: list[URLPattern | URLResolver] = [
    path("enter/<str:token>/", devices.enter, name="enter"),
    path("pair/<str:token>/", devices.pair, name="pair"),
    path("pair/<str:token>/look.css", devices.pair_stylesheet, name="pair_stylesheet"),
    path("devices/", devices.devices, name="devices"),
    path("devices/link/", devices.make_link, name="make_link"),
    path("devices/shut/", devices.shut_out, name="shut_out"),
    path("devices/<int:pk>/revoke/", devices.revoke, name="revoke"),
    path("devices/<int:pk>/rename/", devices.rename, name="rename"),
    path("light/", pages.light, name="light"),
    path("case/<int:number>/undo/", pages.undo, name="undo"),
    path("undo/", pages.undo, name="undo_outside"),
    path("alive/", pages.alive, name="alive"),
    path("", include("wetmount.casebook.urls_today")),
    path("", include("wetmount.casebook.urls_origin")),
    path("", include("wetmount.casebook.urls_weigh")),
    path("", include("wetmount.casebook.urls_keep")),
    path("", include("wetmount.casebook.urls_count")),
    path("", include("wetmount.casebook.urls_dose")),
    path("", include("wetmount.casebook.urls_plan")),
    path("", include("wetmount.casebook.urls_entry")),  # last: its case/<number>/<step>/ takes what is left
]

handler404 = "wetmount.casebook.views.pages.not_found"
handler500 = "wetmount.casebook.views.pages.broken"
