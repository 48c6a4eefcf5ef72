"""Addresses of classes: students, lists, teams, cards, meetings, the bell schedule."""

from django.urls import URLPattern, path

from lessons.views import cards, classes, days, meetings, rosters, teams, terms

urlpatterns: list[URLPattern] = [
    path("classes/", classes.class_list, name="class-list"),
    path("classes/new/", classes.class_new, name="class-new"),
    path("classes/archive/", classes.class_archive_several, name="class-archive-several"),
    path("classes/from-package/", rosters.package_import, name="package-import"),
    path("classes/<int:pk>/", classes.class_detail, name="class-detail"),
    path("classes/<int:pk>/about/", classes.class_edit, name="class-edit"),
    path("classes/<int:pk>/archive/", classes.class_archive, name="class-archive"),
    path("classes/<int:pk>/restore/", classes.class_restore, name="class-restore"),
    path("classes/<int:pk>/joining/", classes.class_joining, name="class-joining"),
    path("classes/<int:pk>/code/", classes.class_code, name="class-code"),
    path("classes/<int:pk>/students/", classes.class_add_student, name="class-add-student"),
    path("classes/<int:pk>/list/", rosters.class_import, name="class-import"),
    path("classes/<int:pk>/cards/", cards.class_cards, name="class-cards"),
    path("classes/<int:pk>/sign/", cards.class_sign, name="class-sign"),
    path("classes/<int:pk>/teams/", teams.class_teams, name="class-teams"),
    path("classes/<int:pk>/teams/formed/", teams.class_form_teams, name="class-form-teams"),
    path("classes/<int:pk>/teams/more/", teams.class_add_team, name="class-add-team"),
    path("teams/<int:pk>/remove/", teams.team_remove, name="team-remove"),
    path("students/<int:pk>/", classes.student_detail, name="student-detail"),
    path("students/<int:pk>/move/", classes.student_move, name="student-move"),
    path("students/<int:pk>/remove/", classes.student_remove, name="student-remove"),
    path("classes/<int:pk>/meetings/", meetings.class_meetings, name="class-meetings"),
    path("meetings/<int:pk>/", meetings.meeting_detail, name="meeting-detail"),
    path("meetings/<int:pk>/remove/", meetings.meeting_remove, name="meeting-remove"),
    path("days/", days.day_list, name="day-list"),
    path("days/new/", days.kind_new, name="kind-new"),
    path("days/<int:pk>/", days.day_edit, name="day-edit"),
    path("days/<int:pk>/remove/", days.day_remove, name="day-remove"),
    path("terms/new/", terms.term_new, name="term-new"),
    path("terms/<int:pk>/", terms.term_edit, name="term-edit"),
    path("terms/<int:pk>/remove/", terms.term_remove, name="term-remove"),
    path("days/special/", days.special_new, name="special-new"),
    path("days/special/<int:pk>/remove/", days.special_remove, name="special-remove"),
]
