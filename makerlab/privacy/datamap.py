"""Which stored fields are personal, whose they are and when they go; every other field by name, so that a new one must
be classified before the tests pass. The page docs/privacy.md is made from it."""

from __future__ import annotations

from makerlab.privacy.until import ACCOUNT, ANSWER, CLASS, LOCK, RECORDS, SESSION, Personal

PERSONAL: dict[str, tuple[Personal, ...]] = {
    "sessions.Session": (Personal("session_data", "who is signed in on a machine", "pupils and staff", SESSION),),
    "axes.AccessAttempt": (
        Personal("username", "user name of a wrong sign-in", "staff", LOCK),
        Personal("ip_address", "network address of a wrong sign-in", "staff", LOCK),
        Personal("user_agent", "browser of a wrong sign-in", "staff", LOCK),
        Personal("http_accept", "browser of a wrong sign-in", "staff", LOCK),
        Personal("get_data", "form of a wrong sign-in, names and password masked", "staff", LOCK),
        Personal("post_data", "form of a wrong sign-in, names and password masked", "staff", LOCK),
    ),
    "accounts.User": (
        Personal("username", "name to sign in with; pupils have none", "staff", ACCOUNT),
        Personal("display_name", "nickname of a pupil, name of staff", "pupils and staff", CLASS),
        Personal("role", "what the person does here", "pupils and staff", CLASS),
        Personal("school", "the school", "pupils and staff", CLASS),
        Personal("password", "slow salted hash; pupils have none", "staff", ACCOUNT),
        Personal("password_given_at", "password on paper since", "staff", ACCOUNT),
        Personal("pin", "salted hash of the picture PIN", "pupils", CLASS),
        Personal("pin_failures", "wrong pictures in a row", "pupils", CLASS),
        Personal("pin_locked_until", "locked after wrong pictures until", "pupils", CLASS),
        Personal("last_login", "last sign-in", "pupils and staff", CLASS),
        Personal("is_active", "may sign in", "pupils and staff", CLASS),
        Personal("created_at", "added when", "pupils and staff", CLASS),
        Personal("runs_district", "may make schools and set their stores", "staff", ACCOUNT),
    ),
    "accounts.SecondStep": (
        Personal("secret", "key shared with the authenticator app", "staff", ACCOUNT),
        Personal("confirmed_at", "second step on since", "staff", ACCOUNT),
    ),
    "accounts.RecoveryCode": (
        Personal("digest", "keyed digest of a recovery code", "staff", ACCOUNT),
        Personal("used_at", "recovery code used when", "staff", ACCOUNT),
    ),
    "accounts.ServiceAccount": (
        Personal("email", "e-mail address at the school's sign-in service, where one is set", "staff", ACCOUNT),
        Personal("subject", "that service's name for the person", "staff", ACCOUNT),
    ),
    "audit.Event": (
        Personal("actor", "who did it; emptied when the person is deleted", "pupils and staff", RECORDS),
        Personal(
            "facts",
            "plain facts, never contents; emptied with the subject",
            "pupils and staff",
            RECORDS,
        ),
    ),
    "lessons.SchoolClass_teachers": (Personal("user", "who teaches the class", "staff", CLASS),),
    "lessons.Team": (Personal("name", "name the team gave itself", "pupils", CLASS),),
    "lessons.Membership": (
        Personal("user", "the pupil", "pupils", CLASS),
        Personal("school_class", "the pupil's class", "pupils", CLASS),
        Personal("team", "the pupil's team", "pupils", CLASS),
        Personal("nickname", "nickname", "pupils", CLASS),
        Personal("sourced_id", "key of the school's own system, where a roster was brought in", "pupils", CLASS),
    ),
    "lessons.PlanVersion": (Personal("saved_by", "who saved the lesson", "staff", ACCOUNT),),
    "lessons.Assignment": (Personal("created_by", "who gave the lesson", "staff", CLASS),),
    "lessons.Reading": (
        Personal("design", "what was tested, in the team's words", "pupils", CLASS),
        Personal("note", "note on a reading", "pupils", CLASS),
        Personal("entered_by", "who entered it", "pupils and staff", CLASS),
        Personal("entered_at", "entered when", "pupils and staff", CLASS),
        Personal("measured_at", "measured when", "pupils", CLASS),
    ),
    "lessons.Coasting": (
        Personal("design", "what was tested, in the team's words", "pupils", CLASS),
        Personal("entered_by", "who entered it", "pupils and staff", CLASS),
        Personal("entered_at", "entered when", "pupils and staff", CLASS),
    ),
    "lessons.Argument": (
        Personal("says", "what the team says", "pupils", CLASS),
        Personal("claim", "what the team claims", "pupils", CLASS),
        Personal("evidence", "the team's evidence", "pupils", CLASS),
        Personal("reasoning", "the team's reasoning", "pupils", CLASS),
        Personal("saved_by", "who saved it", "pupils and staff", CLASS),
        Personal("saved_at", "saved when", "pupils and staff", CLASS),
    ),
    "lessons.Mark": (
        Personal("level", "mark of the team", "pupils", CLASS),
        Personal("comment", "comment on the mark", "pupils", CLASS),
        Personal("marked_by", "who marked", "staff", CLASS),
        Personal("marked_at", "marked when", "staff", CLASS),
    ),
    "lessons.LabBoard": (
        Personal("notes", "notes on the board of a lab day", "pupils and staff", CLASS),
        Personal("pins", "numbered notes on the board's graph", "pupils and staff", CLASS),
        Personal("claims", "what teams claimed when the board was frozen", "pupils and staff", CLASS),
    ),
    "lessons.LessonPackage": (Personal("uploaded_by", "who brought the lesson in", "staff", ACCOUNT),),
    "submissions.Submission": (
        Personal("team", "whose part", "pupils", CLASS),
        Personal("file", "the drawn part, with whatever text stands in its header", "pupils", CLASS),
        Personal("file_name", "name of the file, cleaned", "pupils", CLASS),
        Personal("report", "what was measured; holds the file's name", "pupils", CLASS),
        Personal("picture", "drawing of the part", "pupils", CLASS),
        Personal("shown", "mesh and pictures made for looking at", "pupils", CLASS),
        Personal("verdict", "what the check found", "pupils", CLASS),
        Personal("state", "handed in, approved, sent back", "pupils", CLASS),
        Personal("uploaded_by", "who uploaded", "pupils and staff", CLASS),
        Personal("uploaded_at", "uploaded when", "pupils and staff", CLASS),
        Personal("handed_in_at", "handed in when", "pupils", CLASS),
        Personal("hand_in_note", "why it came in although something must be fixed", "pupils", CLASS),
    ),
    "submissions.Review": (
        Personal("reviewer", "who decided", "staff", CLASS),
        Personal("decision", "approved or sent back", "pupils", CLASS),
        Personal("note", "what to change", "pupils", CLASS),
        Personal("at", "decided when", "staff", CLASS),
    ),
    "printing.PlanLook": (Personal("user", "who looked at the plan", "staff", ACCOUNT),),
    "printing.CalendarFeed": (
        Personal("user", "whose calendar", "staff", ACCOUNT),
        Personal("token_hash", "hash of the calendar's secret address", "staff", ACCOUNT),
        Personal("fetched_at", "calendar fetched when", "staff", ACCOUNT),
    ),
    "api.ApiToken": (
        Personal("owner", "whose token for a program", "staff", ACCOUNT),
        Personal("name", "what uses it, in its owner's words", "staff", ACCOUNT),
        Personal("digest", "hash of the token", "staff", ACCOUNT),
        Personal("ending", "the token's last four signs", "staff", ACCOUNT),
        Personal("last_used_at", "token used when", "staff", ACCOUNT),
    ),
    "api.Webhook": (Personal("made_by", "who added an address that is told", "staff", ACCOUNT),),
    "api.KeptAnswer": (Personal("body", "answer to a program's request, ids and figures", "pupils and staff", ANSWER),),
    "printing.WhatIf": (Personal("made_by", "who asked what if", "staff", ACCOUNT),),
    "printing.PreparedFile": (
        Personal("uploaded_by", "who prepared the plate", "staff", CLASS),
        Personal("file", "machine words for a plate, with whatever text stands in it", "pupils and staff", CLASS),
        Personal("file_name", "name of that file", "staff", CLASS),
    ),
    "printing.Run": (
        Personal("started_by", "who started the print", "staff", ACCOUNT),
        Personal("cleared_by", "who cleared the printer", "staff", ACCOUNT),
        Personal("note", "note on a print; emptied with the class", "pupils and staff", CLASS),
    ),
    "printing.Upkeep": (
        Personal("by", "who looked after the printer", "staff", ACCOUNT),
        Personal("note", "note on that", "staff", ACCOUNT),
    ),
    "printing.PrintRequest": (
        Personal("team", "whose print", "pupils", CLASS),
        Personal("urgent_because", "why it prints first", "pupils and staff", CLASS),
    ),
    "printing.PrintCopy": (Personal("in_tray_at", "in the team's tray when", "pupils", CLASS),),
}

# not personal: figures, settings, times of machines, keys between tables
OTHER: dict[str, str] = {
    "auth.Permission": "name content_type codename",
    "auth.Group_permissions": "group permission",
    "auth.Group": "name",
    "contenttypes.ContentType": "app_label model",
    "sessions.Session": "session_key expire_date",
    "axes.AccessFailureLog": "user_agent ip_address username http_accept path_info attempt_time locked_out",
    "axes.AccessAttempt": "path_info attempt_time failures_since_start",
    "axes.AccessAttemptExpiration": "access_attempt expires_at",
    "axes.AccessLog": ("user_agent ip_address username http_accept path_info attempt_time logout_time session_hash"),
    "accounts.School": "name time_zone created_at keep_days second_step_required store_max_mb",
    "accounts.User": "session_epoch",
    "accounts.SecondStep": "user last_counter",
    "accounts.RecoveryCode": "user",
    "accounts.ServiceAccount": "user issuer",
    "accounts.Tally": "key count ends_at",
    "work.Job": (
        "kind lane subject school payload priority turn state attempt worker lease_until progress error "
        "created_at started_at finished_at"
    ),
    "work.Heartbeat": "worker lanes seen_at",
    "audit.Event": "school verb subject_kind subject_id at",
    "lessons.SchoolClass_teachers": "schoolclass",
    "lessons.SchoolClass": "school name code sourced_id school_year term joining_open archived_at created_at",
    "lessons.Team": "school_class number tray",
    "lessons.Membership": "",
    "lessons.Meeting": "school_class starts_at ends_at period purpose",
    "lessons.LessonPlan": (
        "school title summary grade_band meetings_count group_size content version adapted_from archived_at created_at"
    ),
    "lessons.PlanVersion": "plan number fields saved_at",
    "lessons.KitPart": (
        "file file_name file_bytes sha256 unit pose check_state check_error checked_at check_s verdict "
        "report picture shown design_volume_mm3 copies_in_file mass_g duration_s width_mm depth_mm height_mm plan code "
        "name task copies_per_team spares material colour settings redesignable position archived_at"
    ),
    "lessons.PartGauge": (
        "kit_part hole_diameter_mm hole_plus_mm hole_minus_mm hole_depth_mm hole_depth_tolerance_mm "
        "through eccentricity_max_mm size_x_mm size_y_mm size_z_mm hub_diameter_mm"
    ),
    "lessons.Assignment": (
        "plan school_class meeting upload_by mass_max_g duration_max_s size_max_mm print_settings "
        "files_max priority created_at"
    ),
    "lessons.DayKind": "school name weekdays",
    "lessons.Period": "day_kind name starts_at ends_at",
    "lessons.Term": "first last name rotation school turning",
    "lessons.SchoolDay": "school date day_kind name",
    "lessons.PartEstimate": "kit_part key mass_g duration_s unknown made_at",
    "lessons.Reading": (
        "assignment team entry changed changed_measured trial version measured is_left_out stopwatch replaces"
    ),
    "lessons.Coasting": "assignment team length_m time_s marks_m speed_m_s",
    "lessons.Argument": "assignment team revision",
    "lessons.Mark": "assignment team row row_name",
    "lessons.LabBoard": "assignment revision frozen_at is_open",
    "lessons.LessonPackage": "file file_name sha256 looked made_at",
    "submissions.Submission": (
        "file_bytes sha256 unit pose check_state check_error checked_at check_s design_volume_mm3 copies_in_file "
        "mass_g duration_s width_mm depth_mm height_mm assignment kit_part version"
    ),
    "submissions.Review": "submission",
    "printing.Room": (
        "school name unattended_allowed unattended_policy start_min swap_min clear_min gap_mm frozen_min "
        "plate_size revision queue_version"
    ),
    "printing.RoomHours": "room day_kind starts_at ends_at staff",
    "printing.ExtraHours": "room date starts_at ends_at staff",
    "printing.PrinterKind": ("school name bed width_mm depth_mm height_mm margin_mm keep_out nozzle_mm machine"),
    "printing.Printer": "room kind name icon may_run_unattended position",
    "printing.Outage": "printer since until reason",
    "printing.Spool": ("room printer material colour maker grams_full grams_left tare_g price_per_kg weighed_at"),
    "printing.Upkeep": "printer work at",
    "printing.TeamBudget": "assignment grams",
    "printing.EmptySpool": "room maker grams_full tare_g weighed_at",
    "printing.PlanLook": "room plan_id",
    "printing.CalendarFeed": "created_at",
    "api.ApiToken": "scopes made_at expires_at revoked_at",
    "api.Webhook": "school address happenings secret old_secret old_until made_at",
    "api.Delivery": "webhook key happening body state tries next_at status problem made_at ended_at",
    "api.KeptAnswer": "token key asked status made_at",
    "printing.WhatIf": "room made_at changes answer error",
    "printing.Plate": (
        "room number state material colour settings bed_width_mm bed_depth_mm bed_round mass_g "
        "durations_s estimates_s printer swap setup_at starts_at ends_at cleared_at unplanned_because "
        "arranged held changed_at created_at pin_printer pin_setup_at pin_after changes"
    ),
    "printing.PlateEstimate": "key answer used_at",
    "printing.PreparedFile": (
        "plate kind file_bytes sha256 dialect arrangement check_state check_error reading mass_g "
        "duration_s stands uploaded_at"
    ),
    "printing.Run": (
        "before plate printer outcome started_at expected_end_at ended_at estimate_s estimate_g used_g "
        "price_per_kg print_ended_at weighed_g"
    ),
    "printing.RunCopy": "run copy good reason",
    "printing.RoomPlan": "room made_at seconds plates late_kits tardiness_min facts causes",
    "printing.PrintRequest": "held room assignment kit_part submission rank created_at",
    "printing.AssignmentRoom": "assignment room",
    "printing.PrintCopy": "request number state plate place x_mm y_mm turn_deg tries",
}
