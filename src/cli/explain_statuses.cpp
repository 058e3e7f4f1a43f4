#include "cli/explain_statuses.h"

namespace sendworthy::cli {

std::span<const WordEntry> sheet_words() {
  static constexpr WordEntry kWords[] = {
      {"status", "pass",
       "Measured, and inside every limit of the rule. As a verdict (PASS): nothing failed and nothing warns; the file is worth "
       "sending by this rule set.",
       "The unrounded value is compared; a value equal to its limit passes.",
       "It says that these rules found nothing, not that the music is good or that no other fault exists.",
       "Nothing, if the rule set is the receiver's; otherwise compare it with what was ordered."},
      {"status", "note", "Worth knowing. It never changes the verdict.",
       "A rule's note limit was met (note_above, note_below, note_unless and the like): for example by how much a service would "
       "turn the file down.",
       "Whether it matters depends on what was agreed with the receiver.", "Read it once; as a rule there is nothing to repair."},
      {"status", "warn",
       "Beyond a limit that is advice rather than law, or beyond a hard limit by no more than the measurement's own tolerance, "
       "which the finding then says. As a verdict (WARN): worth sending once you have read the warnings.",
       "A rule's warn limit was met (warn_above, warn_below, warn_unless and the like), or a fail limit was passed within the "
       "tolerance.",
       "Whether it is a fault at all: much of it is evidence, and common practice differs between houses. The receiver's word "
       "counts more than a rule set.",
       "Listen to or look at the places it names, and decide. --fail-on warn lets warnings stop a script."},
      {"status", "fail",
       "Beyond a hard limit of the rule. One such finding makes the verdict FAIL: not worth sending yet.",
       "A rule's fail limit was passed by more than the rule's tolerance, or a waiver has run out. A verdict is also FAIL when "
       "something was not measured, or when an input has no sheet.",
       "The rule may be stricter than the receiver is: its source stands beside it. Some faults look like what is meant, which "
       "only the ear can tell.",
       "Do what the remedy says and export again, or write a waiver with a reason and a last day."},
      {"status", "not measured",
       "The measurement should exist for this file and could not be made, with the reason. It counts as fail unless the rule says "
       "optional = true: what was not measured is never passed.",
       "The file is too short, silent, or lacks what the measurement needs, such as a quiet part for the noise floor.",
       "Whether the fault is there. It is no statement about the quality of the sound.",
       "See the reason. For material that cannot have the measurement set optional = true on the rule in your own set, or write a "
       "waiver."},
      {"status", "waived",
       "Beyond its limit, and somebody took the responsibility: it is shown with the reason, the name if one was given, and the "
       "last day, and no longer changes the verdict.",
       "A [[waiver]] of the rule set names this rule and fits this file on this day. One that has run out fails; one that met no "
       "fault warns.",
       "Whether the reason still holds: a waiver on a file pattern goes on to hold for a new bounce; one with audio = "
       "\"xxh128:...\" ends with it.",
       "Nothing until the last day. Before it, mend the fault and take the waiver out, or have it agreed again."},
      {"status", "skipped", "The rule does not apply to this file. It is listed with the reason, and is no finding.",
       "A condition of the rule is not met (channels, role, container, min_duration), or the question makes no sense for this "
       "file.",
       "Whether the fault is there: a rule that is skipped has checked nothing.", "Give --role if the rule waits for one."},
      {"status", "not applicable",
       "The question makes no sense for this file: stereo measurements on mono, integer bit depth on a lossy file.",
       "Decided by the kind of file, not by its sound.",
       "A rule on it has checked nothing; it is listed under skipped.",
       "Nothing; if you expected another kind of file, look at its container and channels."},
      {"word", "verdict",
       "The first word of a sheet, for a file and for all files together: PASS, WARN or FAIL.",
       "The worst of the findings: FAIL for a fail or for a not measured of a rule that is not optional, WARN for a warn, else PASS. Notes and waived findings do not "
       "count. An input without a sheet makes the verdict on the whole FAIL.",
       "It is the verdict of one rule set on what the rules look at. It does not know the receiver or the music.",
       "Read what fails and what warns, mend or decide, and check again."},
      {"word", "no sheet", "This input could not be judged at all. It makes the verdict on the whole run FAIL; exit code 3.",
       "The input is missing, cannot be read, is no audio file, or holds no frame of sound.",
       "What is in the input.", "Do what the line says: explain missing, unreadable, unrecognised or no-audio tells more."},
      {"word", "caution", "A word of care for your ears, at the end of a sheet. It never changes the verdict.",
       "From the levels in the file, and from the playback level if you gave one.",
       "How loud you really play, and how your ears are.", "Take the precaution it names before the next long session."},
      {"finding", "nothing-judged", "Every rule of the set was skipped, so the file was not judged. It counts as fail.",
       "Each rule asks for another kind of file or another role.", "Anything about the file.",
       "Look at what was skipped and why; name the role with --role, or take another rule set."},
      {"finding", "waivers", "Waivers were applied without looking at their last day.",
       "The program was not told today's date, so no waiver could run out.", "Whether a waiver has ended.",
       "Give --date with today's date."},
      {"finding", "second-meter-integrated", "Whether a second meter reads the same integrated loudness.",
       "With --second-meter libebur128 reads the same samples; more than 0.1 LU apart warns.",
       "Which of the two is right.", "Trust neither reading before the cause is known: run \"sendworthy selftest\"."},
      {"finding", "second-meter-momentary", "Whether a second meter reads the same highest momentary loudness.",
       "With --second-meter libebur128 reads the same samples, at the same steps; more than 0.1 LU apart warns.",
       "Which of the two is right.", "Trust neither reading before the cause is known: run \"sendworthy selftest\"."},
      {"finding", "second-meter-range", "Whether a second meter reads the same loudness range.",
       "With --second-meter libebur128 reads the same samples, at the same steps; more than 0.3 LU apart warns.",
       "Which of the two is right.", "Trust neither reading before the cause is known: run \"sendworthy selftest\"."},
      {"finding", "second-meter-true-peak", "Whether a second meter reads a higher true peak.",
       "With --second-meter libebur128 reads the same samples; more than 0.1 dB higher warns. It may read lower: it interpolates "
       "less finely.",
       "Which of the two is right.", "Trust neither reading before the cause is known: run \"sendworthy selftest\"."},
      {"error", "missing", "The input does not exist. There is no sheet for it; exit code 3.",
       "The path names nothing, or passes through something that is no folder.", "Whether it was moved, renamed or never made.",
       "Check the spelling and the folder; in a script, quote the name."},
      {"error", "unreadable", "The input exists and cannot be read. There is no sheet for it; exit code 3.",
       "Missing rights, or a folder, device or pipe where a file is needed.", "What is in the input.",
       "Check the rights. Write a stream to a file first: the whole file is needed."},
      {"error", "unrecognised", "The input is no audio file this program knows, or its header is illegal. Exit code 3.",
       "Decided by the bytes of the file, not by its name.", "Whether another program could play it.",
       "Export again as WAV, AIFF or FLAC."},
      {"error", "no-audio", "Not one frame could be decoded, or a folder holds no audio. Exit code 3.",
       "The header was understood, and no sample came out of the file.", "Whether there ever was sound in it.",
       "Export again. For a folder with folders inside give --recursive."},
      {"error", "rules", "A rule set or the configuration does not load, so nothing was judged. Exit code 2.",
       "An unknown name, key or measurement, a value out of range: file, line and column are named.",
       "What the author meant; the nearest right word is offered.",
       "Mend the line named; \"sendworthy rules PATH\" reads the set without a file to judge."},
      {"error", "usage", "The command line was not understood, so nothing was judged. Exit code 2.",
       "An unknown command or option, or a value that the option does not take.",
       "What was meant; the nearest right word is offered.", "See \"sendworthy help\" and the command's own --help."},
      {"error", "output", "An output could not be written. Exit code 3; nothing half-written is left.",
       "A full disk, missing rights, a folder that does not exist, a reader that went away.",
       "The verdict on the files: it did not reach you.", "Make room or choose another --output."},
      {"error", "interrupted", "The run was stopped. Exit code 130; no sheet was written.",
       "Ctrl-C, or the signals INT, TERM or HUP.", "The verdict on any of the files.", "Run it again."},
  };
  return kWords;
}

}  // namespace sendworthy::cli
