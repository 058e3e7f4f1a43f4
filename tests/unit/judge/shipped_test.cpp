// The shipped rule sets: they load, read well, and each of their rules tells right from wrong.
#include "judge/shipped.h"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <set>

#include "base/files.h"
#include "judge/evaluate.h"
#include "unit/judge/fake_catalog.h"

using namespace sendworthy;

namespace {

const std::vector<RuleSet>& shipped() {
  static const std::vector<RuleSet> sets = [] {
    std::vector<RuleSet> all;
    for (const auto& set : judge::shipped_sets()) {
      auto loaded = load_rule_set(set.name, {}, test::fake_catalog());
      REQUIRE_MESSAGE(loaded.has_value(), (loaded ? "" : to_string(loaded.error())));
      all.push_back(std::move(*loaded));
    }
    return all;
  }();
  return sets;
}

const RuleSet& set_called(std::string_view name) {
  for (const auto& set : shipped()) {
    if (set.name == name) return set;
  }
  FAIL("no such set");
  return shipped().front();
}

Measurement measured(const std::string& id, Value value) { return {.id = id, .key = id, .outcome = std::move(value)}; }

// A file about which every shipped rule that can apply is content, as far as one file can please all sets.
std::vector<Measurement> perfect(const std::string& container = "WAV") {
  std::vector<Measurement> all;
  const auto add = [&](const std::string& id, Value value) { all.push_back(measured(id, std::move(value))); };
  add("container", container);
  add("encoding", std::string("PCM 24-bit"));
  add("sample_rate", 48000.0);
  add("bit_depth", 24.0);
  add("bit_rate", 2304.0);
  add("bit_rate_mode", std::string("constant"));
  add("channels", 2.0);
  add("frames", 48000.0 * 180);
  add("duration", 180.0);
  add("file_size", 51840044.0);
  add("chunks", std::string("fmt, bext, data"));
  for (const char* id :
       {"header_consistency", "stream_integrity", "header_slips", "stream_unproven", "trailing_bytes", "embedded_artwork_bytes", "over_full_scale_samples",
        "non_finite_samples", "clipped_runs", "clipped_samples", "flat_top_runs", "silent_channels", "copied_channels",
        "dropouts", "channel_dropouts", "repeated_blocks", "stuck_samples", "clicks", "render_grid_clicks",
        "internal_silence", "stuck_bits"})
    add(id, 0.0);
  for (const char* id : {"lineup_tone", "integer_valued_float", "gain_changed_word_length", "truncated_word_length"})
    add(id, std::string("none"));
  add("subsonic_level", -34.0);
  add("extension_matches", true);
  for (const char* id : {"implausible_scale", "byte_order_suspect", "dual_mono", "inverted_channel"}) add(id, false);
  add("integrated_loudness", -23.0);
  add("max_momentary_loudness", -18.0);
  add("max_short_term_loudness", -19.5);
  add("loudness_range", 7.0);
  add("true_peak", -6.0);
  add("sample_peak", -6.2);
  add("headroom", 6.2);
  add("peak_to_loudness_ratio", 17.0);
  add("peak_to_short_term_ratio", 12.0);
  add("rms_level", -20.5);
  add("crest_factor", 14.3);
  add("dc_offset", 0.0002);
  add("cut_start", false);
  add("cut_tail", false);
  add("tail_drop", -144.0);
  add("loop_seam_step", -144.0);
  add("loop_points", 0.0);
  for (const char* id : {"fade_in", "fade_out", "isolated_head_events", "audio_after_silence", "periodic_bursts"}) add(id, 0.0);
  add("start_step", -144.0);
  add("end_step", -144.0);
  add("limited_peaks", 0.4);
  add("phase_correlation", 0.7);
  add("min_phase_correlation", 0.2);
  for (const char* key : {"low_phase_correlation", "low_phase_correlation(below_hz=150)"})
    all.push_back({.id = "low_phase_correlation", .key = key, .outcome = Value(0.98)});
  for (const char* key : {"side_level_low", "side_level_low(below_hz=150)", "side_level_low(below_hz=300)"})
    all.push_back({.id = "side_level_low", .key = key, .outcome = Value(-24.0)});
  add("mono_fold_loss", 1.1);
  add("mono_fold_loss_low", 0.1);
  add("side_to_mid", -9.0);
  add("channel_balance", 0.2);
  all.push_back({.id = "inter_channel_delay", .key = "inter_channel_delay", .outcome = NotApplicable{"no common lag"}});
  add("leading_silence", 0.6);
  add("trailing_silence", 2.5);
  add("effective_bit_depth", 24.0);
  add("noise_floor", -66.0);
  add("a_weighted_level", -22.0);
  for (const char* id : {"tag_faults", "leftover_texts"}) add(id, 0.0);
  add("path_length", 40.0);
  for (const char* id : {"name_characters", "isrc", "gtin", "timecode_consistency", "tags_match_name"}) add(id, std::string("ok"));
  add("bext_place", std::string("before the sound"));
  for (const char* id : {"name_words", "cover_art", "unusual_chunks"}) add(id, std::string("none"));
  for (const char* id : {"name_matches_header", "channel_layout_known"}) add(id, true);
  for (const char* id : {"lossy_source", "upsampled_source", "imaging", "click_bleed"}) add(id, std::string("none"));
  for (const char* id : {"steady_tones", "mains_hum", "noise_floor_steps"}) add(id, 0.0);
  add("half_of_stereo", false);
  add("tag_title", std::string("Paper Moonrise"));
  for (const char* id : {"declared_loudness_error", "declared_true_peak_error", "declared_loudness_range_error", "cover_art_pixels", "channel_order_suspect", "lfe_bandwidth"})
    all.push_back({.id = id, .key = id, .outcome = NotApplicable{"nothing of the kind"}});
  add("true_peak_after_lossy", -5.6);
  return all;
}

void put(std::vector<Measurement>& list, const std::string& id, Outcome outcome) {
  bool found = false;
  for (auto& measurement : list) {
    if (measurement.id != id) continue;
    measurement.outcome = outcome;
    found = true;
  }
  if (!found) list.push_back({.id = id, .key = id, .outcome = std::move(outcome)});
}

judge::Subject stereo() {
  judge::Subject subject;
  subject.path = "mix.wav";
  subject.container = "WAV";
  subject.channels = 2;
  subject.duration_s = 180;
  subject.sample_rate = 48000;
  subject.today = "2026-06-01";
  return subject;
}

std::string troubles(const judge::Judgement& judgement) {
  std::string text;
  for (const auto& finding : judgement.findings) {
    if (finding.status != Status::pass && finding.status != Status::note &&
        !(finding.optional && finding.status == Status::not_measured))
      text += finding.rule + ": " + std::string(to_string(finding.status)) + " (" + finding.limit_text + ")\n";
  }
  return text;
}

// What `matches` must let through and must catch, by measurement.
struct Texts {
  std::vector<const char*> good, bad;
};
const Texts& texts_of(const std::string& id) {
  static const std::map<std::string, Texts> table{
      {"encoding", {{"PCM 24-bit", "float 32-bit"}, {"IMA ADPCM"}}},
      {"name_characters", {{"ok", "odd: a dash at the beginning"}, {"refused: the character :", "refused: a point at the end; odd: an emoji"}}},
      {"channel_order_suspect", {{"ok", "unclear: no channel holds only bass"}, {"swapped: channel 6 holds only bass"}}},
      {"timecode_consistency", {{"ok", "none", "odd: the start lies behind midnight"}, {"apart: bext starts at 0:00", "apart: x; odd: y"}}},
      {"cover_art",
       {{"none", "JPEG 3000 x 3000, RGB, square", "PNG 1400 x 1400, RGB, square"},
        {"JPEG 3000 x 2900, RGB, not square", "JPEG 3000 x 3000, CMYK, square", "PNG 9 x 9, RGB, transparent, square", "GIF 9 x 9, palette, square",
         "unreadable: JPEG, it ends before its size is said"}}},
      {"tag_title", {{"Paper Moonrise", "7", "\u00c9t\u00e9"}, {"", " "}}},
  };
  REQUIRE_MESSAGE(table.count(id) == 1, "no texts for " << id);
  return table.at(id);
}

// A subject that meets a rule's conditions.
judge::Subject subject_for(const Rule& rule) {
  auto subject = stereo();
  if (!rule.conditions.channels.empty()) subject.channels = rule.conditions.channels.front();
  if (!rule.conditions.roles.empty()) subject.role = rule.conditions.roles.front();
  if (!rule.conditions.containers.empty()) subject.container = rule.conditions.containers.front();
  return subject;
}

Finding judged(const RuleSet& set, const Rule& rule, const Outcome& outcome, const Outcome& other = Value(0.0)) {
  RuleSet one = set;
  one.rules = {rule};
  std::vector<Measurement> list{{.id = rule.measure.id, .key = key_of(rule.measure), .outcome = outcome}};
  if (rule.compare_to) list.push_back({.id = rule.compare_to->id, .key = key_of(*rule.compare_to), .outcome = other});
  const auto judgement = judge::evaluate(one, list, subject_for(rule), test::fake_catalog());
  REQUIRE(judgement.findings.size() == 1);
  return judgement.findings.front();
}

}  // namespace

TEST_SUITE("judge/shipped") {
  TEST_CASE("all fourteen sets load, and the copy compiled in is the file") {
    CHECK(shipped().size() == 14);
    for (const auto& set : judge::shipped_sets()) {
      const auto text = base::read_text(std::string(SENDWORTHY_SOURCE_DIR "/rules/") + std::string(set.name) + ".toml");
      REQUIRE(text.has_value());
      CHECK(*text == set.toml);
    }
  }

  TEST_CASE("the catalog of these tests says what the real one says") {
    for (const auto* fake : test::fake_catalog().entries) {
      CAPTURE(fake->id);
      if (!fake->available) continue;  // stands for what no version measures yet
      const auto* real = catalog().find(fake->id);
      REQUIRE(real != nullptr);
      CHECK(real->unit == fake->unit);
      CHECK(real->group == fake->group);
      for (const auto& parameter : fake->parameters) {
        const auto at = std::find_if(real->parameters.begin(), real->parameters.end(),
                                     [&](const Parameter& p) { return p.name == parameter.name; });
        REQUIRE(at != real->parameters.end());
        CHECK(at->fallback == parameter.fallback);
        CHECK(at->lowest == parameter.lowest);
        CHECK(at->highest == parameter.highest);
      }
    }
    for (const auto& set : judge::shipped_sets()) CHECK(load_rule_set(set.name, {}, catalog()).has_value());
  }

  TEST_CASE("every rule has why, remedy and source, and no two rules of a set read alike") {
    for (const auto& set : shipped()) {
      CAPTURE(set.name);
      CHECK(set.title != set.name);
      CHECK(!set.purpose.empty());
      CHECK(!set.sources.empty());
      std::set<std::string> whys, remedies;
      for (const auto& rule : set.rules) {
        if (!rule.enabled) continue;
        CAPTURE(rule.id);
        CHECK(rule.why.size() > 20);
        CHECK(rule.remedy.size() > 15);
        CHECK(!rule.source.empty());
        CHECK(whys.insert(rule.why).second);
        CHECK(remedies.insert(rule.remedy).second);
      }
    }
  }

  TEST_CASE("clipped, flat-topped, limited and over have a word each, and no rule borrows another's") {
    const std::map<std::string, std::string> words{
        {"clipping", "clipped"}, {"flat-tops", "flat-topped"}, {"limiter-peaks", "limited"}, {"over-full-scale", " over "}};
    const auto set = load_rule_set("premaster", {}, catalog());
    REQUIRE(set.has_value());
    for (const auto& own : words) {
      const auto rule = std::find_if(set->rules.begin(), set->rules.end(), [&](const Rule& one) { return one.id == own.first; });
      REQUIRE(rule != set->rules.end());
      for (const auto& other : words) {
        CAPTURE(own.first);
        CAPTURE(other.second);
        CHECK((rule->why.find(other.second) != std::string::npos) == (other.first == own.first));
      }
    }
  }

  TEST_CASE("no rule reads like a rule of another set") {
    std::map<std::string, std::string> whys, remedies;
    for (const auto& set : shipped()) {
      for (const auto& rule : set.rules) {
        CAPTURE(rule.id);
        const auto [why, new_why] = whys.emplace(rule.why, rule.id);
        CHECK(why->second == rule.id);
        const auto [remedy, new_remedy] = remedies.emplace(rule.remedy, rule.id);
        CHECK(remedy->second == rule.id);
      }
    }
  }

  TEST_CASE("everything but common extends common") {
    for (const auto& set : shipped()) {
      CAPTURE(set.name);
      const auto header =
          std::find_if(set.rules.begin(), set.rules.end(), [](const Rule& r) { return r.id == "header"; });
      REQUIRE(header != set.rules.end());
      CHECK(header->enabled);
    }
  }

  // Both sides of every comparison of every shipped rule: on the limit it passes, just beyond it is what the rule says.
  TEST_CASE("every shipped rule passes on its limit and speaks just beyond it") {
    int checked = 0;
    for (const auto& set : shipped()) {
      for (const auto& rule : set.rules) {
        if (!rule.enabled) continue;
        CAPTURE(set.name);
        CAPTURE(rule.id);
        for (const auto& comparison : rule.comparisons) {
          Rule one = rule;
          one.comparisons = {comparison};
          ++checked;
          const auto* entry = test::fake_catalog().find(rule.measure.id);
          switch (comparison.kind) {
            case LimitKind::above:
            case LimitKind::below: {
              const double sign = comparison.kind == LimitKind::above ? 1 : -1;
              CHECK(judged(set, one, Value(comparison.number)).status == Status::pass);
              CHECK(judged(set, one, Value(comparison.number - sign)).status == Status::pass);
              const auto beyond = judged(set, one, Value(comparison.number + sign * (rule.tolerance + 0.01)));
              CHECK(beyond.status == comparison.status);
              CHECK(!beyond.remedy.empty());
              CHECK(beyond.remedy.find('{') == std::string::npos);
              CHECK(beyond.why.find('{') == std::string::npos);
              break;
            }
            case LimitKind::unless:
              for (const auto& accepted : comparison.accepted) CHECK(judged(set, one, accepted).status == Status::pass);
              if (entry->unit == Unit::boolean) {
                CHECK(judged(set, one, Value(!std::get<bool>(comparison.accepted.front()))).status ==
                      comparison.status);
              } else if (entry->unit == Unit::text) {
                CHECK(judged(set, one, Value(std::string("something else"))).status == comparison.status);
              } else {
                CHECK(judged(set, one, Value(std::get<double>(comparison.accepted.back()) + 1)).status ==
                      comparison.status);
              }
              break;
            case LimitKind::multiple_of:
              CHECK(judged(set, one, Value(comparison.number * 1000)).status == Status::pass);
              CHECK(judged(set, one, Value(comparison.number * 1000 + 1)).status == comparison.status);
              break;
            case LimitKind::matches:
              for (const char* good : texts_of(rule.measure.id).good)
                CHECK(judged(set, one, Value(std::string(good))).status == Status::pass);
              for (const char* bad : texts_of(rule.measure.id).bad)
                CHECK(judged(set, one, Value(std::string(bad))).status == comparison.status);
              break;
            case LimitKind::forbid:
              CHECK(judged(set, one, Value(std::string("fmt, data"))).status == Status::pass);
              CHECK(judged(set, one,
                           Value(entry->unit == Unit::list ? "fmt, " + comparison.items.front() + ", data"
                                                           : comparison.items.front()))
                        .status == comparison.status);
              break;
            case LimitKind::require:
              CHECK(judged(set, one, Value("fmt, " + comparison.items.front() + ", data")).status == Status::pass);
              CHECK(judged(set, one, Value(std::string("fmt, data"))).status == comparison.status);
              break;
            case LimitKind::none:
              FAIL("a comparison without a kind");
              break;
          }
        }
        // Nothing passes that was not measured.
        CHECK(judged(set, rule, NotMeasured{"silent"}).status == Status::not_measured);
      }
    }
    CHECK(checked > 250);
  }

  TEST_CASE("a perfect file comes out clean in every set it was made for") {
    const auto judge_with = [](const char* set, const std::vector<Measurement>& list, const judge::Subject& subject) {
      return troubles(judge::evaluate(set_called(set), list, subject, test::fake_catalog()));
    };
    auto file = perfect();
    for (const char* set : {"common", "premaster", "stems", "streaming-music", "broadcast-r128", "broadcast-r128-short",
                            "film-tv-stem", "vinyl-premaster", "game-asset", "hi-res"}) {
      CAPTURE(set);
      CHECK(judge_with(set, file, stereo()) == "");
    }
    put(file, "integrated_loudness", Value(-24.0));
    CHECK(judge_with("broadcast-a85", file, stereo()) == "");
    put(file, "sample_rate", Value(44100.0));
    CHECK(judge_with("audiobook", file, stereo()) == "");
    put(file, "bit_depth", Value(16.0));
    put(file, "effective_bit_depth", Value(16.0));
    put(file, "encoding", Value(std::string("PCM 16-bit")));
    CHECK(judge_with("cd", file, stereo()) == "");
    put(file, "integrated_loudness", Value(-16.0));
    CHECK(judge_with("podcast", file, stereo()) == "");
  }

  TEST_CASE("a mono low end is fine on vinyl, and a record without any low end too") {
    auto file = perfect();
    put(file, "side_level_low", Value(-144.0));
    put(file, "low_phase_correlation", Value(1.0));
    CHECK(troubles(judge::evaluate(set_called("vinyl-premaster"), file, stereo(), test::fake_catalog())) == "");
    put(file, "side_level_low", NotMeasured{"nothing below 150 Hz"});
    put(file, "low_phase_correlation", NotApplicable{"nothing below 150 Hz"});
    CHECK(troubles(judge::evaluate(set_called("vinyl-premaster"), file, stereo(), test::fake_catalog())) == "");
  }

  TEST_CASE("dense pop without a quiet part is fine everywhere but in a book") {
    auto file = perfect();
    put(file, "noise_floor", NotMeasured{"no quiet part"});
    for (const char* set : {"premaster", "streaming-music", "podcast"}) {
      const auto judgement = judge::evaluate(set_called(set), file, stereo(), test::fake_catalog());
      for (const auto& finding : judgement.findings) {
        if (finding.measure == "noise_floor") CHECK(finding.optional);
      }
    }
    CHECK(troubles(judge::evaluate(set_called("audiobook"), file, stereo(), test::fake_catalog()))
              .find("chapter-noise: not measured") != std::string::npos);
  }

  TEST_CASE("a mono podcast is judged by the mono rule at -19 LUFS") {
    auto file = perfect("MP3");
    for (const char* id :
         {"phase_correlation", "mono_fold_loss", "side_to_mid", "channel_balance", "dual_mono", "inverted_channel",
          "silent_channels", "copied_channels", "bit_depth", "effective_bit_depth", "integer_valued_float"})
      put(file, id, NotApplicable{"one channel"});
    put(file, "channels", Value(1.0));
    put(file, "sample_rate", Value(44100.0));
    put(file, "encoding", Value(std::string("MPEG-1 layer III")));
    put(file, "integrated_loudness", Value(-19.0));
    auto subject = stereo();
    subject.channels = 1;
    subject.container = "MP3";
    const auto judgement = judge::evaluate(set_called("podcast"), file, subject, test::fake_catalog());
    CHECK(troubles(judgement) == "");
    CHECK(std::any_of(judgement.findings.begin(), judgement.findings.end(),
                      [](const Finding& f) { return f.rule == "mono-episode-loudness" && f.status == Status::pass; }));
    CHECK(std::any_of(judgement.skipped.begin(), judgement.skipped.end(), [](const Skipped& s) {
      return s.rule == "episode-loudness" && s.reason == "for files with 2 channels; this one has 1";
    }));
  }

  TEST_CASE("a 20-second cue is not judged by its loudness range") {
    auto file = perfect();
    put(file, "loudness_range", NotMeasured{"too short"});
    auto subject = stereo();
    subject.duration_s = 20;
    put(file, "duration", Value(20.0));
    for (const char* set : {"premaster", "broadcast-r128", "broadcast-r128-short", "game-asset", "film-tv-stem"}) {
      CAPTURE(set);
      CHECK(troubles(judge::evaluate(set_called(set), file, subject, test::fake_catalog())) == "");
    }
  }

  TEST_CASE("headroom and true peak of a premaster warn and never fail") {
    auto file = perfect();
    put(file, "true_peak", Value(4.0));
    put(file, "sample_peak", Value(2.0));
    put(file, "headroom", Value(-2.0));
    put(file, "over_full_scale_samples", Value(900.0));
    const auto judgement = judge::evaluate(set_called("premaster"), file, stereo(), test::fake_catalog());
    CHECK(verdict_of(judgement.findings) == Verdict::warn);
    for (const auto& finding : judgement.findings) {
      if (finding.rule == "headroom")
        CHECK(finding.remedy ==
              "Take all group faders down by 5.0 dB, or the output fader when nothing on the bus depends on level; the "
              "true peak becomes -1.0 dBTP.");
      if (finding.rule == "true-peak")
        CHECK(finding.remedy == "Lower the mix bus by 5.0 dB; the true peak becomes -1.0 dBTP.");
    }
  }

  // EBU R 128 V5 (2023) h), i), m) and s1 V3 (2020) d): figures as quoted there; the boundaries are exact.
  TEST_CASE("R 128 boundaries are exact") {
    const auto status = [](const char* set, const char* id, double value) {
      auto file = perfect();
      put(file, id, Value(value));
      const auto judgement = judge::evaluate(set_called(set), file, stereo(), test::fake_catalog());
      Status worst = Status::pass;
      for (const auto& finding : judgement.findings) {
        if (finding.measure == id && finding.status > worst) worst = finding.status;
      }
      return worst;
    };
    CHECK(status("broadcast-r128", "integrated_loudness", -23.0) == Status::pass);
    CHECK(status("broadcast-r128", "integrated_loudness", -22.8) == Status::pass);
    CHECK(status("broadcast-r128", "integrated_loudness", -22.79) == Status::warn);
    CHECK(status("broadcast-r128", "integrated_loudness", -22.7) == Status::warn);  // inside 1.0, outside 0.2
    CHECK(status("broadcast-r128", "integrated_loudness", -22.0) == Status::warn);
    CHECK(status("broadcast-r128", "integrated_loudness", -21.99) == Status::fail);
    CHECK(status("broadcast-r128", "integrated_loudness", -23.2) == Status::pass);
    CHECK(status("broadcast-r128", "integrated_loudness", -24.01) == Status::fail);
    CHECK(status("broadcast-r128", "true_peak", -1.0) == Status::pass);
    CHECK(status("broadcast-r128", "true_peak", -0.7) == Status::warn);
    CHECK(status("broadcast-r128", "true_peak", -0.69) == Status::fail);
    CHECK(status("broadcast-r128-short", "integrated_loudness", -22.7) == Status::fail);
    CHECK(status("broadcast-r128-short", "max_short_term_loudness", -18.0) == Status::pass);
    CHECK(status("broadcast-r128-short", "max_short_term_loudness", -17.8) == Status::warn);
    CHECK(status("broadcast-r128-short", "max_short_term_loudness", -17.7) == Status::fail);
    // ATSC A/85:2013 section 6.
    CHECK(status("broadcast-a85", "integrated_loudness", -22.0) == Status::note);
    CHECK(status("broadcast-a85", "integrated_loudness", -26.0) == Status::note);
    CHECK(status("broadcast-a85", "integrated_loudness", -26.01) == Status::fail);
    // IEC 60908: 300 frames of 1/75 s are the least a track may have.
    CHECK(status("cd", "duration", 300 / 75.0) == Status::pass);
    CHECK(status("cd", "duration", 299 / 75.0) == Status::fail);
  }

  TEST_CASE("a loud master is told by how much a service would turn it down, and nothing more") {
    auto file = perfect();
    put(file, "integrated_loudness", Value(-9.0));
    const auto judgement = judge::evaluate(set_called("streaming-music"), file, stereo(), test::fake_catalog());
    CHECK(verdict_of(judgement.findings) == Verdict::pass);
    for (const auto& finding : judgement.findings) {
      if (finding.rule != "loudness") continue;
      CHECK(finding.status == Status::note);
      CHECK(finding.why == "At -16 LUFS, the level for single tracks, this master would be turned down by 7.0 dB.");
      CHECK(*finding.change_db == doctest::Approx(-7.0));
    }
  }

  TEST_CASE("evidence never fails alone") {
    const std::set<std::string> evidence{"limited_peaks",      "peak_to_loudness_ratio", "byte_order_suspect",
                                         "dual_mono",          "implausible_scale",      "flat_top_runs",
                                         "inter_channel_delay", "clicks", "internal_silence", "fade_in", "fade_out",
                                         "lossy_source", "upsampled_source", "imaging", "mains_hum", "click_bleed",
                                         "isolated_head_events", "periodic_bursts", "name_words", "lfe_bandwidth",
                                         "half_of_stereo", "leftover_texts", "tag_faults", "gain_changed_word_length",
                                         "truncated_word_length", "integer_valued_float", "stuck_bits", "lineup_tone",
                                         "subsonic_level",     "tags_match_name"};
    for (const auto& set : shipped()) {
      for (const auto& rule : set.rules) {
        if (evidence.count(rule.measure.id) == 0) continue;
        for (const auto& comparison : rule.comparisons) CHECK(comparison.status != Status::fail);
      }
    }
  }
}
