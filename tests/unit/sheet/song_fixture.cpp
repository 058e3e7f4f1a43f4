#include "unit/sheet/song_fixture.h"

#include <cmath>
#include <limits>

namespace sendworthy::fixture {
namespace {

Finding about(std::string rule, Status status, std::string text) {
  Finding made;
  made.ruleset = "plan", made.rule = std::move(rule), made.title = made.rule;
  made.status = made.before_waiver = status;
  if (status == Status::not_measured) {
    made.outcome = NotMeasured{std::move(text)};
  } else {
    made.outcome = Value{std::move(text)};
  }
  made.why = "It is what listeners notice.", made.remedy = "Move the fader.", made.source = "common practice, no source";
  made.files = {"mix.wav", "stems/voice.wav"};
  return made;
}

FileSheet file(std::string path) {
  FileSheet made;
  made.path = std::move(path), made.verdict = Verdict::pass;
  made.facts.container = "WAV", made.facts.encoding = "PCM 24-bit", made.facts.sample_rate = 48000, made.facts.bit_depth = 24, made.facts.channels = 2, made.facts.channel_layout = "stereo";
  made.facts.frames = 48000 * 60, made.facts.duration_s = 60;
  return made;
}

}  // namespace

SongSheet small_song() {
  SongSheet song;
  song.path = "song.toml", song.title = "Low Water", song.artist = "Nobody Known", song.mix = "mix.wav";
  song.feeling = "Calm, then wide awake.", song.approach = "The voice stays close.";
  song.quiet_db_spl = 45, song.reference_db_spl = 78;
  const auto section = [&](std::string name, double start_s, double end_s, double loudness, std::size_t rank, double vocal) {
    SongSheet::Section one;
    one.name = std::move(name), one.start_s = start_s, one.end_s = end_s, one.loudness = loudness, one.rank = rank;
    one.max_short_term_loudness = loudness + 1, one.vocal_over_bed = vocal;
    song.sections.push_back(one);
  };
  section("Intro", 0, 12, -24, 3, -2), section("Verse", 12, 36, -18.5, 2, 1.5), section("Chorus", 36, 60, -14, 1, 0.5);
  song.sections[0].quietest = song.sections[2].biggest = true;
  const auto stem = [&](std::string name, std::string role, int priority, double reference, double quiet, double moved) {
    SongSheet::Stem one;
    one.name = std::move(name), one.path = "stems/" + one.name + ".wav", one.role = std::move(role), one.priority = priority, one.loudness = -25, one.active_s = 50;
    one.by_section = {-30.0, std::nullopt, -22.0}, one.movement = 8;
    one.reference_level = reference, one.quiet_level = quiet, one.moved = moved;
    song.stems.push_back(one);
  };
  stem("voice", "lead vocal", 1, 74, 40, 3.5), stem("snare", "snare", 2, 62, 27, 1.0), stem("kick", "kick", 2, 60, 0, -9);
  song.stems.back().quiet_level.reset(), song.stems.back().disappears = true, song.stems.back().moved.reset();
  song.pairs = {{"voice", "snare", 40, 25, {{100, 10}, {1000, 75}, {5000, 35}}, {{14, 16.5, 900, 1400, 80}}}};
  song.vocal = SongSheet::Vocal{0.1, {}, "sum of the other stems", SongSheet::Wanted{-1, 3}};
  for (auto& one : song.sections) one.wanted_vocal_over_bed = SongSheet::Wanted{-1, 3};
  song.sections[1].wanted_vocal_over_bed = SongSheet::Wanted{2, 4}, song.sections[2].wanted_lead_over_backing = SongSheet::Wanted{6, 12};
  song.sections[2].lead_over_backing = 4.5, song.drums_over_rest = -3.5, song.backing_masked = 31;
  for (int i = 0; i < 600; ++i) song.vocal->over_bed.push_back(i % 100 < 60 ? static_cast<float>(2 * std::sin(0.1 * i)) : std::numeric_limits<float>::quiet_NaN());
  song.low_end = SongSheet::LowEnd{};
  for (int i = 0; i < 40; ++i) song.low_end->hits.push_back({1.5 * i, -12, i % 10 == 9 ? std::nullopt : std::optional<double>(-16 + (i % 8))});
  song.low_end->wanted_kick_over_bass = 3, song.low_end->cancellation = -0.6, song.low_end->flipped_gain = 0.2;
  song.low_end->kick_over_bass = 1, song.low_end->kick_over_bass_p10 = -2;
  song.references = {{"other.wav", -12.5, 9.0, -4.0, -11.0, ""}, {"gone.wav", {}, {}, {}, {}, "there is no such file"}};
  return song;
}

Sheet sheet_of(SongSheet song) {
  Sheet sheet;
  sheet.tool_version = "1.2.3", sheet.verdict = Verdict::fail;
  sheet.files = {file("mix.wav"), file("stems/voice.wav")};
  sheet.findings = {about("vocal-placement", Status::fail, "Verse 1.5 LU, 2.0 to 4.0 LU wanted"), about("movement", Status::not_measured, "not stated"), about("kick-over-bass", Status::warn, "1.0 dB below 100 Hz"),
                    about("intent-stated", Status::pass, "stated"), about("backing-placement", Status::note, "there are no backing vocals")};
  Where where;
  where.start_s = 14, where.end_s = 18, where.start_frame = 14 * 48000, where.end_frame = 18 * 48000, where.file = "mix.wav", where.note = "-1.0 LU over the bed";
  sheet.findings.front().where = {where}, sheet.findings.front().where_total = 1;
  sheet.song = std::make_shared<const SongSheet>(std::move(song));
  return sheet;
}

}  // namespace sendworthy::fixture
