"""Addresses of tracing in a fish room: what was seen, exposures, curve, chains, origin, control, the round."""

from django.urls import URLPattern, path

from wetmount.casebook.views import chains, epidemic_curve, exposures, room_seen

urlpatterns: list[URLPattern] = [
    path("rooms/<int:pk>/seen/", room_seen.enter, name="room_enter"),
    path("rooms/<int:pk>/exposures/", exposures.page, name="room_exposures"),
    path("rooms/<int:pk>/curve/", epidemic_curve.page, name="room_curve"),
    path("rooms/<int:pk>/chains/", chains.page, name="room_chains"),
]
