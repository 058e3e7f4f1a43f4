#include "cli/explain_statuses.h"

#include <array>

namespace sendworthy::cli {

std::span<const WordEntry> sheet_words() {
  static constexpr std::array<WordEntry, 14> kWords{{
      {"status", "pass", "Measured, and inside every limit of the rule. For a file: nothing failed and nothing warns.",
       "The unrounded value is compared; a value equal to its limit passes.",
       "It says that this rule found nothing, not that the music is good or that no other fault exists.", "Nothing."},
      {"status", "note", "Worth knowing. It never changes the verdict.",
       "A rule's note_above, note_below or note_unless was met: for example by how much a service would turn the file "
       "down.",
       "Whether it matters depends on what was agreed with the receiver.", "Read it once; there is nothing to repair."},
      {"status", "warn",
       "Beyond a limit that is advice rather than law, or beyond a hard limit by no more than the measurement's own "
       "tolerance, which the finding then says.",
       "A rule's warn_above, warn_below or warn_unless was met, or a fail limit was passed within the tolerance.",
       "Common practice differs between houses; the receiver's word counts more than a rule set.",
       "Look at the places it names and decide. --fail-on warn lets warnings stop a script."},
      {"status", "fail", "Beyond a hard limit of the rule. One such finding makes the file's verdict fail.",
       "A rule's fail limit was passed by more than the measurement's tolerance, or a waiver has run out.",
       "The rule may be stricter than the receiver is: its source stands beside it.",
       "Do what the remedy says and export again, or write a waiver with a reason and a last day."},
      {"status", "not measured",
       "The measurement should exist for this file and could not be made, with the reason. It counts as fail unless "
       "the "
       "rule says optional = true: what was not measured is never passed.",
       "The file is too short, silent, or lacks what the measurement needs, such as a quiet part for the noise floor.",
       "It is no statement about the quality of the sound.",
       "See the reason. For material that cannot have the measurement set optional = true on the rule in your own set, "
       "or "
       "write a waiver."},
      {"status", "waived",
       "Beyond its limit, and somebody took the responsibility: it is shown with the reason and the last day, and no "
       "longer changes the verdict.",
       "A [[waiver]] of the rule set names this rule and fits this file on this day.",
       "A waiver on a file pattern goes on to hold for a new bounce; one with audio = \"xxh128:...\" ends with it.",
       "Nothing until the last day. Afterwards the waiver fails by itself."},
      {"status", "skipped", "The rule does not apply to this file. It is listed with the reason, and is no finding.",
       "A condition of the rule is not met (channels, role, container, min_duration), or the question makes no sense "
       "for "
       "this file.",
       "A rule that is skipped has checked nothing.", "Give --role if the rule waits for one."},
      {"status", "not applicable",
       "The question makes no sense for this file: stereo measurements on mono, integer bit depth on float.",
       "Decided by the kind of file, not by its sound.",
       "A rule on it has checked nothing; it is listed under skipped.", "Nothing."},
      {"error", "missing", "The input does not exist. There is no sheet for it; exit code 3.",
       "The path names nothing, or passes through something that is no folder.", "",
       "Check the spelling and the folder; in a script, quote the name."},
      {"error", "unreadable", "The input exists and cannot be read. There is no sheet for it; exit code 3.",
       "Missing rights, or a folder, device or pipe where a file is needed.", "",
       "Check the rights. Write a stream to a file first: the whole file is needed."},
      {"error", "unrecognised", "The input is no audio file this program knows, or its header is illegal. Exit code 3.",
       "Decided by the bytes of the file, not by its name.", "", "Export again as WAV, AIFF or FLAC."},
      {"error", "no-audio", "Not one frame could be decoded, or a folder holds no audio. Exit code 3.",
       "The header was understood, and no sample came out of the file.", "",
       "Export again. For a folder with folders inside give --recursive."},
      {"error", "output", "An output could not be written. Exit code 3; nothing half-written is left.",
       "A full disk, missing rights, a folder that does not exist, a reader that went away.", "",
       "Make room or choose another --output."},
      {"error", "interrupted", "The run was stopped. Exit code 130; no sheet was written.",
       "Ctrl-C, or the signals INT, TERM or HUP.", "", "Run it again."},
  }};
  return kWords;
}

}  // namespace sendworthy::cli
