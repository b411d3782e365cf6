"""Addresses of Today, quick work, the case list and the fish rooms."""

from django.urls import URLPattern, path

from wetmount.casebook.views import cases, quick, room_keeping, rooms, today

urlpatterns: list[URLPattern] = [
    path("", today.today, name="today"),
    path("new/", today.new_case, name="new_case"),
    path("task/new/", today.new_task, name="new_task"),
    path("task/<int:pk>/", today.mark_task, name="mark_task"),
    path("undo/<int:pk>/", today.undo_said, name="undo_said"),
    path("quick/water/", quick.water, name="quick_water"),
    path("quick/signs/", quick.signs, name="quick_signs"),
    path("quick/first-aid/", quick.dying_now, name="quick_first_aid"),
    path("cases/", cases.cases, name="cases"),
    path("cases/seen/", cases.seen, name="cases_seen"),
    path("rooms/", rooms.rooms, name="rooms"),
    path("rooms/new/", room_keeping.new_room, name="new_room"),
    path("rooms/<int:pk>/", rooms.room, name="room"),
    path("rooms/<int:pk>/set-up/", room_keeping.set_up, name="room_set_up"),
    path("rooms/<int:pk>/change/", room_keeping.change_room, name="change_room"),
    path("rooms/<int:pk>/<slug:kind>/new/", room_keeping.add, name="room_add"),
    path("rooms/<int:pk>/<slug:kind>/<int:row>/", room_keeping.change, name="room_change"),
]
