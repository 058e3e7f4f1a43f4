#include "delivery/set_rules.h"

#include <array>
#include <utility>

namespace sendworthy::delivery {
namespace {

constexpr std::string_view kCommon = "common practice, no source";
constexpr std::string_view kHandbook = "Recommendations for Delivery of Recorded Music Projects (P&E Wing), from memory";

constexpr std::array<SetRule, 29> kRules{{
    {.id = "item-missing", .title = "Ordered item", .severity = Status::fail,
     .what = "Whether there is a file for an item of the order.",
     .how = "The item's path or pattern is looked for below the order's folder. An item with required = false that is not there is a note.",
     .caveat = "Whether the file holds what its name says: other findings look at that.",
     .why = "Something that was ordered is not in the set, and somebody will have to ask for it.",
     .remedy = "Export it into the order's folder under this name, or correct the item's file in the order.", .source = kCommon},
    {.id = "item-extra", .title = "Sound that nobody ordered", .severity = Status::fail,
     .what = "Whether the folder holds audio files that belong to no item.",
     .how = "Every audio file in the order's folder and below is held against the items. allow_extra = true makes it a note.",
     .caveat = "Whether it was left in by mistake or the order is not complete.",
     .why = "A receiver takes whatever lies in the folder for a deliverable: an old bounce goes out as the master.",
     .remedy = "Move it out of the folder, or add an [[item]] for it.", .source = kCommon},
    {.id = "item-duplicate", .title = "One file for one item", .severity = Status::fail,
     .what = "Whether an item that is one file has one, and no file serves two items.",
     .how = "Patterns are matched against the folder. Only stems may be several files of one item.",
     .caveat = "Which of several files is the right one.",
     .why = "With two candidates nobody can tell which one was meant, and the wrong one may be used.",
     .remedy = "Leave one file per item in the folder, or make the pattern narrower.", .source = kCommon},
    {.id = "name-pattern", .title = "Name as ordered", .severity = Status::fail,
     .what = "Whether a file is named by the order's pattern of names.",
     .how = "The pattern's fields are filled from the order and from the file itself: rate and bits are those of the sound. Spaces are "
            "underscores; capitals count, but for version and role.",
     .caveat = "Whether the title is spelt rightly in the order.",
     .why = "Ingest sorts by name: what is named otherwise is lost, or refused.",
     .remedy = "Rename it, or correct the pattern in the order.", .source = kHandbook},
    {.id = "name-conflict", .title = "Names that can stand beside each other", .severity = Status::warn,
     .what = "Whether two files of the folder have one name on another system.",
     .how = "Names are compared without the difference of capitals and in one Unicode form (NFC), folder by folder.",
     .caveat = "On which system the receiver unpacks the set.",
     .why = "Other systems keep no difference between capitals, or between two ways to type an accent: one file overwrites the other.",
     .remedy = "Give them names that differ in letters or digits.", .source = "Unicode Standard Annex #15; common practice, no source"},
    {.id = "same-format", .title = "Format alike", .severity = Status::fail,
     .what = "Whether all files of the set have one sample rate, one word length and, stems aside, one number of channels.",
     .how = "Sample rate, bits, kind of sample and number of channels of every file against those of what it is held against. Items with rules of "
            "their own are left out: they were ordered otherwise. A stem may be mono. A warning where a version, a cappellas aside, has one sound on both "
            "channels and its main mix has not.",
     .caveat = "Which of the two formats was meant.",
     .why = "Files of another rate do not line up in a session, and somebody converts them without telling; a version folded down to mono is another mix.",
     .remedy = "Export it again from the same session with the same settings; do not convert.", .source = kCommon},
    {.id = "same-length", .title = "Length alike", .severity = Status::fail,
     .what = "Whether versions and stems are as long as the main mix.",
     .how = "Frames as decoded. Cut-downs, radio edits, alternates and premasters have lengths of their own.",
     .caveat = "Whether what is missing at the end was silence.",
     .why = "Another length tells of another export range: the start or the tail may be elsewhere too.",
     .remedy = "Export it again over the same range as the main mix.", .source = kCommon},
    {.id = "aligned", .title = "In line with the main mix", .severity = Status::fail,
     .what = "Whether a version stands where the main mix stands, to the sample.",
     .how = "What both share is lined up by onsets of the whole files and then by cross-correlation, window by window.",
     .caveat = "Less than a frame, where the versions went through different processing. An a cappella that shares little with the mix may "
               "not be lined up at all; then it is not measured.",
     .why = "Laid under the main mix it flams or runs apart, and an edit between the versions is heard.",
     .remedy = "Export all versions in one go from the same start.", .source = kCommon},
    {.id = "not-identical", .title = "A sound of its own", .severity = Status::fail,
     .what = "Whether two items of the set are one and the same sound.",
     .how = "Digests of the decoded samples, whatever the header says; and versions that differ from the main mix by level, place or dither alone; likewise two "
            "versions of a song that have equally many frames and, within 0.1 LU, one loudness or one range and distance from loudness to peak.",
     .caveat = "Versions that differ by a hair on purpose.",
     .why = "The classic wrong print: the main mix under the instrumental's name.",
     .remedy = "Print the version again with the right parts muted, and listen to the file.", .source = kCommon},
    {.id = "main-is-current", .title = "Newer than the last delivery", .severity = Status::fail,
     .what = "Whether the main mix is one that was delivered before.",
     .how = "The order's previous files are held against it as compare does: the same bits, the same audio, dither or level alone.",
     .caveat = "Whether the change that was asked for is in it.",
     .why = "The revision that was asked for never left the room, and the client hears the old mix once more.",
     .remedy = "Bounce the current session, or take previous out of the order if nothing was to change.", .source = kCommon},
    {.id = "vocal-in-instrumental", .title = "Vocal left in the instrumental", .severity = Status::fail,
     .what = "How much of the vocal is left in an instrumental.",
     .how = "The transfer from the vocal (an a cappella, a vocal stem, or the main mix less the instrumental) into the instrumental, against the same "
            "with the vocal shifted in time. The smallest leak that could have been seen is printed; above -40 dB it is not measured.",
     .caveat = "Words so soft that they lie under that smallest leak; a reverb of the vocal without the vocal, in part.",
     .why = "An instrumental with a ghost of the vocal cannot be used under another voice, on stage or on air.",
     .remedy = "Mute the vocals and their sends to effects, parallel busses too, and print again.", .source = kCommon},
    {.id = "band-in-a-cappella", .title = "Band left in the a cappella", .severity = Status::fail,
     .what = "How much of the band is left in an a cappella.",
     .how = "As for the vocal in an instrumental, with the band (the instrumental, or the main mix less the a cappella) in its place. Where the a cappella has 1 % "
            "of its energy from 44 to 88 Hz and the instrumental not a thirtieth of that, the two are taken to be changed about.",
     .caveat = "Headphones that leaked into the microphone are a part of the recording and read as band.",
     .why = "Remixers and dubbing need the voice alone.",
     .remedy = "Mute everything but vocals and their effects, and look for a bus that still lets the band through.", .source = kCommon},
    {.id = "lead-in-tv-mix", .title = "TV mix: lead out, backing in", .severity = Status::fail,
     .what = "How much of the lead vocal is left in a TV mix, and whether its backing vocals are there.",
     .how = "As for the vocal in an instrumental, with the lead vocal (a stem with the role lead vocal, or the main mix less the TV mix). Stems with a "
            "role of backing vocals must stand in it at no less than -20 dB.",
     .caveat = "A doubled lead sounds like the lead. Without stems of them the backing vocals are not looked for.",
     .why = "The singer would sing against the record, or stand alone.",
     .remedy = "Mute the lead and its sends, leave the backing vocals, and print again.", .source = kHandbook},
    {.id = "clean-differs-only-at-edits", .title = "Clean edit", .severity = Status::fail,
     .what = "Whether a clean edit is the main mix but for short places.",
     .how = "The null of both, and the places where they part, each listed. With edits in the order they must lie within them by 0.25 s; without, none may last "
            "3 s or more. A clean edit that differs nowhere fails.",
     .caveat = "Whether a word is left that should be gone: that takes ears and the lyrics.",
     .why = "A clean edit is the same master without a few words; whatever else differs was not approved.",
     .remedy = "Edit the approved main mix itself, or print it again from the same session.", .source = kHandbook},
    {.id = "versions-sum", .title = "Instrumental and a cappella together", .severity = Status::warn,
     .what = "Whether instrumental and a cappella add up to the main mix.",
     .how = "Both are added with the gains that fit best, and taken out of the main mix; what is left is given in dB under the mix.",
     .caveat = "Processing on the mix bus works on each print by itself, so that they cannot add up: hence a warning.",
     .why = "What is in neither of them is missing from the set.",
     .remedy = "Look for a part that is muted in both, or print both through the main mix's own bus levels.", .source = kCommon},
    {.id = "version-gain", .title = "Level against the main mix", .severity = Status::warn,
     .what = "Whether a version is as loud as the main mix, where both play the same.",
     .how = "The gain between the passages of both that are most alike; of an a cappella, how loud it stands in the main mix. Where instrumental and a cappella add up "
            "to the main mix as they are, that says it.",
     .caveat = "A bus compressor lets a version without the vocal come up by itself; 0.5 dB is let through, and 5 dB of an a cappella, which no band holds down.",
     .why = "An edit from one version to the other jumps in level.",
     .remedy = "Print all versions with one setting of the master fader; do not normalise them.", .source = kCommon},
    {.id = "version-polarity", .title = "Polarity against the main mix", .severity = Status::fail,
     .what = "Whether a version is upside down against the main mix, or left and right are changed about.",
     .how = "The sign of what both share where they are lined up, channel by channel; where the channels do not tell, of the middle and of the sides.",
     .caveat = "Nothing, where both could be lined up.",
     .why = "Laid together they cancel instead of adding, and stems no longer sum.",
     .remedy = "Look for an inverted output, a plug-in with its polarity switched or crossed channels, and print again.", .source = kCommon},
    {.id = "fold-down", .title = "Surround against stereo", .severity = Status::warn,
     .what = "Whether a surround mix, folded down, is the stereo mix it is held against.",
     .how = "Folded down by ITU-R BS.775, lined up, and taken out of the stereo mix: what is left, and the level between the two.",
     .caveat = "A stereo mix of its own is often meant; then this tells how far they lie apart.",
     .why = "Most listeners hear surround folded down: it should be the mix that was approved.",
     .remedy = "Listen to the fold-down beside the stereo mix, or waive this where two mixes are meant.", .source = "ITU-R BS.775-3; common practice, no source"},
    {.id = "stems-sum-to-mix", .title = "Stems against the mix", .severity = Status::fail,
     .what = "Whether the stems add up to the mix, and if not, why.",
     .how = "All stems are added as they are, then with one gain, with a gain each, with a gain and a delay each, and with a gain that "
            "moves slowly. The first that takes out the mix names the cause.",
     .caveat = "A mix that went through processing of its own cannot be rebuilt from stems; the finding says so.",
     .why = "Whoever mixes on from stems starts from another mix than the one approved.",
     .remedy = "Export stems and mix in one go, at unity, without processing on the bus, or key it from the full mix.", .source = kHandbook},
    {.id = "exact-length", .title = "Length as ordered", .severity = Status::fail,
     .what = "Whether a file lasts as long as the order says, to the frame.",
     .how = "Frames as decoded against the seconds of the order times the sample rate, rounded.",
     .caveat = "Whether it ends musically.",
     .why = "A 30-second spot of 30.2 seconds is cut off, or refused.",
     .remedy = "Set the export range to the frame and export again.", .source = kCommon},
    {.id = "tags-match", .title = "Tags as ordered", .severity = Status::fail,
     .what = "Whether the tags that were asked for are there, forbidden ones are not, and what they say is what the order says.",
     .how = "Tags as the file's own formats hold them. Texts are compared in one Unicode form without spaces at their ends; codes without their hyphens.",
     .caveat = "Tags are read and never written here; a catalogue of the receiver's is not known.",
     .why = "Wrong credits and codes travel with the file, and money goes where the code says.",
     .remedy = "Correct the tags in a tag editor, or the order.", .source = kCommon},
    {.id = "isrc-valid", .title = "ISRC", .severity = Status::fail,
     .what = "Whether the recording codes of order, tags and names are well formed.",
     .how = "ISO 3901: two letters, three letters or digits, two digits of the year, five digits. It has no check digit.",
     .caveat = "Whether the code is the right one, or was ever given out.",
     .why = "Shops and collecting societies refuse what they cannot read.",
     .remedy = "Take the code from the label's list; O and 0, I and 1 are mixed up most.", .source = "ISO 3901:2019"},
    {.id = "isrc-unique", .title = "One ISRC for one recording", .severity = Status::fail,
     .what = "Whether two items that sound unlike share a recording code.",
     .how = "Codes of order and tags over all items, hyphens and capitals aside.",
     .caveat = "Codes of other releases.",
     .why = "Each edit, remix, instrumental and clean version has a code of its own; a shared one mixes up plays and money.",
     .remedy = "Ask the label for a code for each version.", .source = "ISRC Handbook (International ISRC Authority), from memory"},
    {.id = "upc-valid", .title = "Album code", .severity = Status::fail,
     .what = "Whether the album's UPC or EAN is well formed.",
     .how = "8, 12, 13 or 14 digits with the check digit of GS1.",
     .caveat = "Whether it is this album's.",
     .why = "A release with a wrong code is refused, or filed under another.",
     .remedy = "Copy it from the label's sheet again.", .source = "GS1 General Specifications, check digit; from memory"},
    {.id = "album-loudness", .title = "Loudness of the album", .severity = Status::warn,
     .what = "The loudness of all songs together, of the loudest, and how far they lie apart.",
     .how = "Integrated loudness of every song; one gain for all keeps the steps between them. [album] loudest and spread make limits of it.",
     .caveat = "A soft song may be meant to be soft. With a song beyond 13 minutes the loudness of all together is not told.",
     .why = "Services turn an album up or down as a whole, by its loudest song; a step between songs stays.",
     .remedy = "Move the song that sticks out, not all; leave the steps that are meant.", .source = "AES TD1008 (2021), album normalisation"},
    {.id = "album-order", .title = "Running order", .severity = Status::fail,
     .what = "Whether track numbers, gaps, joins and CD frames fit the running order.",
     .how = "Track tags and numbers in names against [album] order; silence between last and first sound against gap_s; where gapless, the step at the join, "
            "silence, a fade to and from it, a repeat of up to a second, and lengths in whole CD frames of 588 samples at 44.1 kHz.",
     .caveat = "Whether the order is the right one. What was cut out at a join, where the level goes on: it is in neither file. A fade on one side of it alone.",
     .why = "Songs in the wrong order, a click or a hole at a join are heard at once and found late.",
     .remedy = "Number names and tags in the running order; export gapless songs from one timeline, cut at a CD frame.", .source = "IEC 60908, from memory; common practice, no source"},
    {.id = "sequence-numbers", .title = "Numbers of files", .severity = Status::warn,
     .what = "Whether files that are numbered are numbered without a gap and without a number twice.",
     .how = "Numbers at the start of names, folder by folder, where at least two files have one.",
     .caveat = "Numbers that belong to titles.",
     .why = "A gap tells of a file that was forgotten.",
     .remedy = "Number them again, or look for the one that is missing.", .source = kCommon},
    {.id = "foreign-files", .title = "Other files in the folder", .severity = Status::warn,
     .what = "Whether the folder holds what is neither sound, picture, document nor written by the hand-off.",
     .how = "Endings and names of all files in the order's folder and below.",
     .caveat = "Whether the receiver wants it.",
     .why = "Leftovers of session, system and half-finished downloads travel along, and tell of your machine.",
     .remedy = "Take them out of the folder before you pack it.", .source = kCommon},
    {.id = "manifest-intact", .title = "As handed over", .severity = Status::fail,
     .what = "Whether every file is, byte by byte, what the manifest lists, with none missing and none added.",
     .how = "SHA-256 of each file against the manifest.",
     .caveat = "Who wrote the manifest: it proves that nothing changed on the way, not where it comes from.",
     .why = "A file that changed on the way is another file than the one that was checked.",
     .remedy = "Have it sent again; do not repair it.", .source = "FIPS 180-4 (SHA-256)"},
}};

}  // namespace

std::span<const SetRule> set_rules() { return kRules; }

const SetRule& set_rule(std::string_view id) { return judge::rule_of(kRules, id); }

Finding with_status(std::string_view id, Status status, std::string value, std::vector<std::string> files) {
  return judge::finding_by(set_rule(id), kOrderRules, status, std::move(value), std::move(files));
}

Finding passed(std::string_view id, std::string value, std::vector<std::string> files) {
  return with_status(id, Status::pass, std::move(value), std::move(files));
}

Finding faulted(std::string_view id, std::string value, std::vector<std::string> files) {
  return with_status(id, set_rule(id).severity, std::move(value), std::move(files));
}

Finding unmeasured(std::string_view id, std::string reason, std::vector<std::string> files, std::string_view remedy) {
  return judge::unmeasured_by(set_rule(id), kOrderRules, std::move(reason), std::move(files), remedy);
}

}  // namespace sendworthy::delivery
