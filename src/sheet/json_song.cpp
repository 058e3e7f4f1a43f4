// A song against its plan, as JSON. What was not measured is null, so that every key is always there.
#include <sendworthy/song.h>

#include <cmath>
#include <optional>
#include <span>
#include <string_view>
#include <vector>

#include "sheet/json_parts.h"

namespace sendworthy::sheet {
namespace {

void maybe(JsonText& json, std::string_view name, const std::optional<double>& value, int decimals = 2) {
  if (value) {
    json.number(name, *value, decimals);
  } else {
    json.null(name);
  }
}

void range(JsonText& json, std::string_view name, const std::optional<SongSheet::Wanted>& wanted) {
  if (!wanted) {
    json.null(name);
    return;
  }
  json.key(name);
  json.begin_object();
  json.number("high", wanted->high, 2);
  json.number("low", wanted->low, 2);
  json.end_object();
}

/// Of hundreds of stems there are thousands of pairs: what the others are made of would be most of the sheet.
constexpr std::size_t kPairsInFull = 200;

void write_pair(JsonText& json, const SongSheet::Pair& pair, bool in_full) {
  json.begin_object();
  json.key("bands");
  json.begin_array();
  for (const auto& [centre, masked] : std::span(pair.bands).first(in_full ? pair.bands.size() : 0)) {
    json.begin_object();
    json.number("centre_hz", centre, 0);
    json.number("masked_percent", masked, 1);
    json.end_object();
  }
  json.end_array();
  json.number("freed_percent", pair.freed, 1);
  json.number("masked_percent", pair.masked, 1);
  json.text("masker", pair.masker);
  json.text("part", pair.part);
  json.key("passages");
  json.begin_array();
  for (const auto& one : std::span(pair.passages).first(in_full ? pair.passages.size() : 0)) {
    json.begin_object();
    json.seconds("end_s", one.end_s);
    json.number("high_hz", one.high_hz, 0);
    json.number("low_hz", one.low_hz, 0);
    json.number("masked_percent", one.masked, 1);
    json.seconds("start_s", one.start_s);
    json.end_object();
  }
  json.end_array();
  json.end_object();
}

void write_section(JsonText& json, const SongSheet::Section& section) {
  json.begin_object();
  json.boolean("biggest", section.biggest);
  maybe(json, "density", section.density);
  maybe(json, "drums_over_rest", section.drums_over_rest);
  json.seconds("end_s", section.end_s);
  maybe(json, "integrated_loudness", section.loudness);
  maybe(json, "kick_over_bass", section.kick_over_bass);
  maybe(json, "lead_over_backing", section.lead_over_backing);
  maybe(json, "low_share", section.low_share);
  maybe(json, "max_short_term_loudness", section.max_short_term_loudness);
  json.text("name", section.name);
  maybe(json, "peak_to_loudness_ratio", section.peak_to_loudness_ratio);
  json.boolean("quietest", section.quietest);
  if (section.rank > 0) {
    json.integer("rank", static_cast<std::int64_t>(section.rank));
  } else {
    json.null("rank");
  }
  maybe(json, "side_to_mid", section.side_to_mid);
  json.seconds("start_s", section.start_s);
  maybe(json, "vocal_over_bed", section.vocal_over_bed);
  range(json, "wanted_lead_over_backing", section.wanted_lead_over_backing);
  range(json, "wanted_vocal_over_bed", section.wanted_vocal_over_bed);
  json.end_object();
}

void write_stem(JsonText& json, const SongSheet::Stem& stem) {
  json.begin_object();
  json.number("active_s", stem.active_s, 1);
  json.key("by_section");
  json.begin_array();
  for (const auto& level : stem.by_section) {
    if (level) {
      json.number(*level, 2);
    } else {
      json.null();
    }
  }
  json.end_array();
  json.boolean("disappears", stem.disappears);
  maybe(json, "integrated_loudness", stem.loudness);
  maybe(json, "moved", stem.moved);
  maybe(json, "moved_small_speaker", stem.moved_small_speaker);
  maybe(json, "movement", stem.movement);
  json.text("name", stem.name);
  maybe(json, "noise", stem.noise);
  json.text("path", stem.path);
  if (stem.priority) {
    json.integer("priority", *stem.priority);
  } else {
    json.null("priority");
  }
  maybe(json, "quiet_level", stem.quiet_level);
  maybe(json, "reference_level", stem.reference_level);
  json.text("role", stem.role);
  json.end_object();
}

void write_low_end(JsonText& json, const SongSheet::LowEnd& low) {
  json.key("low_end");
  json.begin_object();
  maybe(json, "bass_centre_hz", low.bass_centre_hz, 1);
  maybe(json, "bass_steadiness", low.bass_steadiness);
  json.number("below_hz", low.below_hz, 0);
  maybe(json, "best_shift_gain", low.best_shift_gain);
  maybe(json, "best_shift_ms", low.best_shift_ms);
  maybe(json, "cancellation", low.cancellation);
  maybe(json, "flipped_gain", low.flipped_gain);
  json.key("hits");
  json.begin_array();
  for (const auto& hit : low.hits) {
    json.begin_object();
    json.seconds("at_s", hit.at_s);
    maybe(json, "bass_db", hit.bass_db);
    json.number("kick_db", hit.kick_db, 2);
    json.end_object();
  }
  json.end_array();
  maybe(json, "kick_centre_hz", low.kick_centre_hz, 1);
  maybe(json, "kick_over_bass", low.kick_over_bass);
  maybe(json, "kick_over_bass_p10", low.kick_over_bass_p10);
  maybe(json, "mono_loss", low.mono_loss);
  maybe(json, "mono_loss_worst", low.mono_loss_worst);
  maybe(json, "mono_loss_worst_at_s", low.mono_loss_worst_at_s, 1);
  maybe(json, "punch", low.punch);
  maybe(json, "share_below_zero_percent", low.share_below_zero, 1);
  maybe(json, "wanted_kick_over_bass", low.wanted_kick_over_bass);
  json.end_object();
}

void write_song(JsonText& json, const SongSheet& song) {
  json.key("song");
  json.begin_object();
  json.text("approach", song.approach);
  json.text("artist", song.artist);
  maybe(json, "backing_masked_percent", song.backing_masked, 1);
  maybe(json, "drums_over_rest", song.drums_over_rest);
  json.text("feeling", song.feeling);
  if (song.low_end) write_low_end(json, *song.low_end);
  json.text("mix", song.mix);
  maybe(json, "noise_of_stems", song.noise_of_stems);
  json.text("path", song.path);
  json.number("quiet_db_spl", song.quiet_db_spl, 1);
  json.number("reference_db_spl", song.reference_db_spl, 1);
  json.key("references");
  json.begin_array();
  for (const auto& one : song.references) {
    json.begin_object();
    maybe(json, "integrated_loudness", one.loudness);
    maybe(json, "low_share", one.low_share);
    json.text("path", one.path);
    maybe(json, "peak_to_loudness_ratio", one.peak_to_loudness_ratio);
    maybe(json, "side_to_mid", one.side_to_mid);
    json.text_unless_empty("trouble", one.trouble);
    json.end_object();
  }
  json.end_array();
  json.text("title", song.title);
  if (song.vocal) {
    json.key("vocal");
    json.begin_object();
    json.text("bed", song.vocal->bed);
    json.key("over_bed");
    json.begin_number_list();
    for (const float value : song.vocal->over_bed) json.number(static_cast<double>(value), 1);
    json.end_array();
    json.seconds("step_s", song.vocal->step_s);
    range(json, "wanted", song.vocal->wanted);
    json.end_object();
  }
  json.end_object();
}

template <class T, class Write>
void list(JsonText& json, std::string_view name, const std::vector<T>& all, const Write& write) {
  json.key(name);
  json.begin_array();
  for (const auto& one : all) write(json, one);
  json.end_array();
}

}  // namespace

void song_pairs_as_json(JsonText& json, const SongSheet& song) {
  std::size_t written = 0;
  list(json, "pairs", song.pairs, [&](JsonText& to, const SongSheet::Pair& pair) { write_pair(to, pair, written++ < kPairsInFull); });
}

void song_as_json(JsonText& json, const SongSheet& song) {
  list(json, "sections", song.sections, write_section);
  write_song(json, song);
  list(json, "stems", song.stems, write_stem);
}

}  // namespace sendworthy::sheet
