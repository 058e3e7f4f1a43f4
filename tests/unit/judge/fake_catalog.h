// A catalog for tests of the judge: the same ids and units as the real one, without the meters behind it.
#pragma once

#include <sendworthy/catalog.h>

namespace sendworthy::test {

inline const Catalog& fake_catalog() {
  static constexpr Parameter kBelow[] = {{"below_hz", "Hz", 120, 40, 500, "low band"}};
  static constexpr Parameter kThreshold[] = {{"threshold_dbfs", "dBFS", -60, -120, -20, "silence"}};
  static constexpr int kSteps[] = {64, 128, 320};
  static constexpr Choice kWords[] = {{"vorbis", 32, 500}, {"opus", 6, 510}, {"mp3", 64, 320, kSteps}};
  static constexpr Parameter kCodecs[] = {
      {.name = "codecs", .unit = "kb/s", .what = "encoders", .choices = kWords, .fallback_words = "vorbis 160"}};
  using G = Group;
  using U = Unit;
  static const CatalogEntry kEntries[] = {
      {.id = "container", .group = G::format, .unit = U::text},
      {.id = "encoding", .group = G::format, .unit = U::text},
      {.id = "sample_rate", .group = G::format, .unit = U::hz},
      {.id = "bit_depth", .group = G::format, .unit = U::bits},
      {.id = "bit_rate", .group = G::format, .unit = U::kbit_s},
      {.id = "bit_rate_mode", .group = G::format, .unit = U::text},
      {.id = "channels", .group = G::format, .unit = U::count},
      {.id = "channel_mask", .group = G::format, .unit = U::text},
      {.id = "frames", .group = G::format, .unit = U::count},
      {.id = "duration", .group = G::format, .unit = U::seconds, .decimals = 3},
      {.id = "file_size", .group = G::format, .unit = U::bytes},
      {.id = "chunks", .group = G::format, .unit = U::list},
      {.id = "header_consistency", .group = G::format, .unit = U::count},
      {.id = "stream_integrity", .group = G::format, .unit = U::count},
      {.id = "header_slips", .group = G::format, .unit = U::count},
      {.id = "stream_unproven", .group = G::format, .unit = U::count},
      {.id = "extension_matches", .group = G::format, .unit = U::boolean},
      {.id = "trailing_bytes", .group = G::format, .unit = U::bytes},
      {.id = "embedded_artwork_bytes", .group = G::format, .unit = U::bytes},
      {.id = "implausible_scale", .group = G::format, .unit = U::boolean},
      {.id = "byte_order_suspect", .group = G::format, .unit = U::boolean},
      {.id = "integrated_loudness", .group = G::level, .unit = U::lufs, .decimals = 1},
      {.id = "max_momentary_loudness", .group = G::level, .unit = U::lufs, .decimals = 1},
      {.id = "max_short_term_loudness", .group = G::level, .unit = U::lufs, .decimals = 1},
      {.id = "loudness_range", .group = G::level, .unit = U::lu, .decimals = 1},
      {.id = "true_peak", .group = G::level, .unit = U::dbtp, .decimals = 1},
      {.id = "sample_peak", .group = G::level, .unit = U::dbfs, .decimals = 1},
      {.id = "headroom", .group = G::level, .unit = U::db, .decimals = 1},
      {.id = "peak_to_loudness_ratio", .group = G::level, .unit = U::db, .decimals = 1},
      {.id = "peak_to_short_term_ratio", .group = G::level, .unit = U::db, .decimals = 1},
      {.id = "rms_level", .group = G::level, .unit = U::dbfs, .decimals = 1},
      {.id = "crest_factor", .group = G::level, .unit = U::db, .decimals = 1},
      {.id = "dc_offset", .group = G::level, .unit = U::percent, .decimals = 3},
      {.id = "over_full_scale_samples", .group = G::level, .unit = U::count},
      {.id = "non_finite_samples", .group = G::level, .unit = U::count},
      {.id = "clipped_runs", .group = G::level, .unit = U::count},
      {.id = "clipped_samples", .group = G::level, .unit = U::count},
      {.id = "flat_top_runs", .group = G::level, .unit = U::count},
      {.id = "limited_peaks", .group = G::level, .unit = U::percent, .decimals = 1},
      {.id = "lineup_tone", .group = G::level, .unit = U::text},
      {.id = "phase_correlation", .group = G::stereo, .unit = U::ratio, .decimals = 2},
      {.id = "min_phase_correlation", .group = G::stereo, .unit = U::ratio, .decimals = 2},
      {.id = "low_phase_correlation", .group = G::stereo, .unit = U::ratio, .decimals = 2, .parameters = kBelow},
      {.id = "mono_fold_loss", .group = G::stereo, .unit = U::lu, .decimals = 1},
      {.id = "mono_fold_loss_low", .group = G::stereo, .unit = U::db, .decimals = 1, .parameters = kBelow},
      {.id = "side_level_low", .group = G::stereo, .unit = U::db, .decimals = 1, .parameters = kBelow},
      {.id = "side_to_mid", .group = G::stereo, .unit = U::db, .decimals = 1},
      {.id = "channel_balance", .group = G::stereo, .unit = U::db, .decimals = 1},
      {.id = "dual_mono", .group = G::stereo, .unit = U::boolean},
      {.id = "silent_channels", .group = G::stereo, .unit = U::count},
      {.id = "cut_start", .group = G::edges, .unit = U::boolean},
      {.id = "cut_tail", .group = G::edges, .unit = U::boolean},
      {.id = "tail_drop", .group = G::edges, .unit = U::dbfs, .decimals = 1},
      {.id = "loop_seam_step", .group = G::edges, .unit = U::dbfs, .decimals = 2},
      {.id = "fade_in", .group = G::edges, .unit = U::seconds, .decimals = 1},
      {.id = "fade_out", .group = G::edges, .unit = U::seconds, .decimals = 1},
      {.id = "isolated_head_events", .group = G::edges, .unit = U::count},
      {.id = "audio_after_silence", .group = G::edges, .unit = U::seconds, .decimals = 1},
      {.id = "periodic_bursts", .group = G::continuity, .unit = U::count},
      {.id = "start_step", .group = G::edges, .unit = U::dbfs, .decimals = 2},
      {.id = "end_step", .group = G::edges, .unit = U::dbfs, .decimals = 2},
      {.id = "dropouts", .group = G::continuity, .unit = U::count},
      {.id = "channel_dropouts", .group = G::continuity, .unit = U::count},
      {.id = "repeated_blocks", .group = G::continuity, .unit = U::count},
      {.id = "stuck_samples", .group = G::continuity, .unit = U::count},
      {.id = "clicks", .group = G::continuity, .unit = U::count},
      {.id = "render_grid_clicks", .group = G::continuity, .unit = U::count},
      {.id = "internal_silence", .group = G::continuity, .unit = U::seconds, .decimals = 3},
      {.id = "copied_channels", .group = G::stereo, .unit = U::count},
      {.id = "inverted_channel", .group = G::stereo, .unit = U::boolean},
      {.id = "inter_channel_delay", .group = G::stereo, .unit = U::samples},
      {.id = "leading_silence", .group = G::edges, .unit = U::seconds, .decimals = 3, .parameters = kThreshold},
      {.id = "trailing_silence", .group = G::edges, .unit = U::seconds, .decimals = 3, .parameters = kThreshold},
      {.id = "effective_bit_depth", .group = G::noise, .unit = U::bits},
      {.id = "integer_valued_float", .group = G::noise, .unit = U::text},
      {.id = "gain_changed_word_length", .group = G::noise, .unit = U::text},
      {.id = "truncated_word_length", .group = G::noise, .unit = U::text},
      {.id = "bandwidth", .group = G::noise, .unit = U::hz},
      {.id = "lossy_source", .group = G::noise, .unit = U::text},
      {.id = "upsampled_source", .group = G::noise, .unit = U::text},
      {.id = "imaging", .group = G::noise, .unit = U::text},
      {.id = "steady_tones", .group = G::noise, .unit = U::count},
      {.id = "mains_hum", .group = G::noise, .unit = U::db, .decimals = 1},
      {.id = "noise_floor_steps", .group = G::noise, .unit = U::count},
      {.id = "click_bleed", .group = G::noise, .unit = U::text},
      {.id = "stuck_bits", .group = G::noise, .unit = U::count},
      {.id = "subsonic_level", .group = G::noise, .unit = U::db, .decimals = 2},
      {.id = "noise_floor", .group = G::noise, .unit = U::dbfs, .decimals = 1},
      {.id = "true_peak_after_lossy", .group = G::lossy, .unit = U::dbtp, .decimals = 2, .parameters = kCodecs, .on_request = true},
      {.id = "a_weighted_level", .group = G::exposure, .unit = U::dbfs, .decimals = 1},
      {.id = "channel_layout_known", .group = G::format, .unit = U::boolean},
      {.id = "declared_loudness_error", .group = G::level, .unit = U::lu, .decimals = 2},
      {.id = "declared_true_peak_error", .group = G::level, .unit = U::db, .decimals = 2},
      {.id = "declared_loudness_range_error", .group = G::level, .unit = U::lu, .decimals = 2},
      {.id = "channel_order_suspect", .group = G::stereo, .unit = U::text},
      {.id = "lfe_bandwidth", .group = G::stereo, .unit = U::hz},
      {.id = "name_characters", .group = G::names, .unit = U::text},
      {.id = "path_length", .group = G::names, .unit = U::count},
      {.id = "name_words", .group = G::names, .unit = U::text},
      {.id = "name_matches_header", .group = G::names, .unit = U::boolean},
      {.id = "half_of_stereo", .group = G::names, .unit = U::boolean},
      {.id = "isrc", .group = G::names, .unit = U::text},
      {.id = "gtin", .group = G::names, .unit = U::text},
      {.id = "tag_title", .group = G::names, .unit = U::text},
      {.id = "tag_faults", .group = G::names, .unit = U::count},
      {.id = "tags_match_name", .group = G::names, .unit = U::text},
      {.id = "leftover_texts", .group = G::names, .unit = U::count},
      {.id = "cover_art", .group = G::names, .unit = U::text},
      {.id = "cover_art_pixels", .group = G::names, .unit = U::count},
      {.id = "timecode_consistency", .group = G::names, .unit = U::text},
      {.id = "moon_phase", .group = G::names, .unit = U::hz, .available = false},
  };
  static const Catalog kCatalog = [] {
    Catalog catalog;
    for (const auto& entry : kEntries) catalog.entries.push_back(&entry);
    return catalog;
  }();
  return kCatalog;
}

}  // namespace sendworthy::test
