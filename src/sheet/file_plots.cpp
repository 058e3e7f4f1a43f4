#include "sheet/file_plots.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <initializer_list>

#include "base/text.h"
#include "sheet/phrases.h"

namespace sendworthy::sheet {
namespace {

constexpr int kTimeTicks = 6;

std::string share_text(double share) {
  const double percent = 100 * share;
  return base::fixed(percent, percent > 0 && percent < 9.95 ? 1 : 0) + " %";
}

std::string at_time(double seconds) { return base::clock_time(seconds, 1); }

class FilePlots {
 public:
  FilePlots(const FileSheet& file, const std::vector<Numbered>& findings, const Catalog& catalog,
            const std::string& prefix)
      : file_(file),
        findings_(findings),
        catalog_(catalog),
        prefix_(prefix),
        length_(std::isfinite(file.facts.duration_s) ? std::clamp(file.facts.duration_s, 0.001, 1e9) : 1) {}

  std::vector<Plot> all() {
    waveform();
    loudness();
    peaks();
    spectrum();
    correlation();
    low_mono();
    density();
    levels();
    return std::move(plots_);
  }

 private:
  const Timeline* timeline(std::string_view id, int channel = 0) const {
    for (const auto& line : file_.timelines) {
      if (line.id == id && line.channel == channel && !line.values.empty()) return &line;
    }
    return nullptr;
  }

  const Measurement* measurement(std::string_view key) const {
    for (const auto& one : file_.measurements) {
      if (one.key == key) return &one;
    }
    return nullptr;
  }
  std::optional<double> value(std::string_view key) const {
    const auto* one = measurement(key);
    return one != nullptr ? number(one->outcome) : std::nullopt;
  }
  std::string shown(std::string_view key) const {
    const auto* one = measurement(key);
    return one != nullptr ? value_of(*one, catalog_) : "not measured";
  }
  std::string place_text(std::string_view key) const {
    const auto* one = measurement(key);
    if (one == nullptr || one->where.empty()) return "";
    const auto channel = channel_name(one->where.front().channel, file_.facts.channels);
    return " at " + at_time(one->where.front().start_s) + (channel.empty() ? "" : " (" + channel + ")");
  }

  Plot begun(std::string_view kind, std::string_view title) const {
    Plot plot;
    plot.id = prefix_ + std::string(kind);
    plot.kind = kind;
    plot.title = title;
    return plot;
  }

  Plot over_time(std::string_view kind, std::string_view title) const {
    auto plot = begun(kind, title);
    plot.over_time = true;
    plot.x = {0, length_, false, "time from the start of the file (minutes:seconds)",
              time_ticks(0, length_, kTimeTicks)};
    return plot;
  }

  static Series line_of(const Timeline& line, std::string name, int style) {
    Series series;
    series.name = std::move(name);
    series.style = style;
    for (std::size_t i = 0; i < line.values.size(); ++i) {
      series.x.push_back(line.start_s + (static_cast<double>(i) + 0.5) * line.step_s);
      series.y.push_back(static_cast<double>(line.values[i]));
    }
    return series;
  }

  /// Marks where findings are: of the measurements named, or of all.
  void mark(Plot& plot, std::initializer_list<std::string_view> of = {}) const {
    for (const auto& [number, finding] : findings_) {
      if (of.size() > 0 && std::find(of.begin(), of.end(), finding->measure) == of.end()) continue;
      for (const auto& where : finding->where) {
        if (where.file.empty())
          plot.marks.push_back({where.start_s, where.end_s, std::to_string(number), finding->status});
      }
    }
  }

  /// The bounds that the rule sets hold against these measurements, each once. `mirrored`: the plot shows them negated.
  void limits(Plot& plot, std::initializer_list<std::string_view> of, bool lower_ones = true,
              std::string_view before = "", bool mirrored = false) const {
    for (const auto& finding : file_.findings) {
      if (!finding.compare_to.empty() || std::find(of.begin(), of.end(), finding.measure) == of.end()) continue;
      for (const auto& bound : finding.bounds) {
        if (bound.kind == LimitKind::below && !lower_ones) continue;
        Limit limit{mirrored ? -bound.at : bound.at,
                    std::string(before) + std::string(to_string(bound.status)) + " " +
                        std::string(to_string(bound.kind)) + " " + base::shortest(bound.at),
                    bound.status};
        const bool known = std::any_of(plot.limits.begin(), plot.limits.end(),
                                       [&](const Limit& one) { return one.y == limit.y && one.text == limit.text; });
        if (!known) plot.limits.push_back(std::move(limit));
      }
    }
  }

  /// What a caption says of limits that lie outside the picture.
  static std::string beyond(const Plot& plot) {
    std::string names;
    for (const auto& limit : plot.limits) {
      if (limit.y < plot.y.low || limit.y > plot.y.high) names += (names.empty() ? "" : ", ") + limit.text;
    }
    return names.empty() ? "" : " Outside the picture: " + names + ".";
  }

  void waveform() {
    const auto* high = timeline("highest", 1);
    if (high == nullptr) return;
    auto plot = over_time("waveform", "Waveform");
    const int channels = std::min(file_.facts.channels, 8);
    // One lane per channel, from the top: lane c lies round −2c.
    double reach = 1;
    for (int c = 1; c <= channels; ++c) {
      const auto *top = timeline("highest", c), *bottom = timeline("lowest", c);
      if (top == nullptr || bottom == nullptr || top->values.size() != bottom->values.size()) continue;
      Series lane;
      lane.kind = Series::Kind::band;
      lane.style = (c - 1) % 2;
      lane.name = channels == 2 ? channel_name(c, 2) : channels == 1 ? "" : std::to_string(c);
      for (std::size_t i = 0; i < top->values.size(); ++i) {
        lane.x.push_back(static_cast<double>(i) * top->step_s);
        lane.y.push_back(std::clamp(static_cast<double>(top->values[i]), -reach, reach) - 2 * (c - 1));
        lane.y2.push_back(std::clamp(static_cast<double>(bottom->values[i]), -reach, reach) - 2 * (c - 1));
      }
      plot.series.push_back(std::move(lane));
      const double middle = -2.0 * (c - 1);
      plot.y.ticks.push_back({middle, channels == 2   ? (c == 1 ? "left" : "right")
                                      : channels == 1 ? "0"
                                                      : std::to_string(c)});
    }
    plot.y.low = -2 * (channels - 1) - 1.05;
    plot.y.high = 1.05;
    plot.y.label = channels == 1 ? "sample (full scale 1)" : "channel to full scale";
    mark(plot);
    std::size_t places = 0;
    for (const auto& one : findings_) places += one.finding->where.empty() ? 0 : 1;
    plot.caption = "The highest sample is " + shown("sample_peak") + place_text("sample_peak") + ". " +
                   (places == 0 ? "No finding has a place in time."
                                : "The numbers above are those of the findings: " +
                                      plural(static_cast<std::int64_t>(places), "has", "have") + " a place in time.");
    if (channels < file_.facts.channels)
      plot.caption += " The first " + std::to_string(channels) + " channels are shown.";
    plots_.push_back(std::move(plot));
  }

  void loudness() {
    const auto *momentary = timeline("momentary"), *lasting = timeline("short_term");
    if (momentary == nullptr) return;
    auto plot = over_time("loudness", "Loudness");
    plot.series.push_back(line_of(*momentary, "momentary (0.4 s)", 1));
    if (lasting != nullptr) plot.series.push_back(line_of(*lasting, "short-term (3 s)", 0));
    // Both series stand for windows that end where their step ends.
    for (auto& series : plot.series) {
      for (auto& x : series.x) x += 0.5 * momentary->step_s;
    }
    limits(plot, {"integrated_loudness", "max_momentary_loudness", "max_short_term_loudness"});
    double top = -60;
    for (const auto& series : plot.series) {
      for (const double y : series.y) {
        if (std::isfinite(y)) top = std::max(top, y);
      }
    }
    // A limit far above all sound would press the lines to the floor.
    const double loudest = top;
    for (const auto& limit : plot.limits) {
      if (limit.y < loudest + 20) top = std::max(top, limit.y);
    }
    plot.y.high = std::ceil((top + 1) / 5) * 5;
    plot.y.low = plot.y.high - 45;
    plot.y.ticks = round_ticks(plot.y.low, plot.y.high, 5);
    plot.y.label = "loudness (LUFS)";
    mark(plot, {"max_momentary_loudness", "max_short_term_loudness"});
    plot.caption = "The whole file reads " + shown("integrated_loudness") + ", with a range of " +
                   shown("loudness_range") + ". The loudest 3 s reach " + shown("max_short_term_loudness") +
                   place_text("max_short_term_loudness") + ".";
    plot.caption += beyond(plot);
    plots_.push_back(std::move(plot));
  }

  void peaks() {
    const auto* line = timeline("true_peak");
    if (line == nullptr) return;
    auto plot = over_time("peaks", "True peaks against the ceiling");
    plot.series.push_back(line_of(*line, "", 0));
    limits(plot, {"true_peak", "sample_peak"}, false);
    limits(plot, {"headroom"}, true, "headroom: ", true);
    if (std::none_of(plot.limits.begin(), plot.limits.end(), [](const Limit& one) { return one.y == 0; }))
      plot.limits.push_back({0, "full scale", Status::note});
    double highest = -1e9;
    for (const float y : line->values) highest = std::max(highest, static_cast<double>(y));
    plot.y = {highest > -10 ? -30 : std::floor(std::max(-140.0, highest) / 10 - 2) * 10,
              std::ceil(std::clamp(highest, 3.0, 60.0) / 3) * 3,
              false,
              "true peak (dBTP)",
              {}};
    plot.y.ticks = round_ticks(plot.y.low, plot.y.high, 6);
    mark(plot,
         {"clipped_runs", "clipped_samples", "over_full_scale_samples", "flat_top_runs", "true_peak", "sample_peak"});
    double limit = 0;
    for (const auto& one : plot.limits) {
      if (!one.text.starts_with("headroom")) limit = std::min(limit, one.y);
    }
    const auto over = std::count_if(line->values.begin(), line->values.end(),
                                    [&](float y) { return static_cast<double>(y) > limit; });
    plot.caption =
        "Highest " + shown("true_peak") + place_text("true_peak") + "; " +
        share_text(static_cast<double>(over) / static_cast<double>(line->values.size())) + " of the time goes above " +
        base::fixed(limit, 1) + " dBTP. Clipped places: " + shown("clipped_runs") +
        "; peaks within 0.1 dB of the highest: " + shown("limited_peaks") + " of the windows." + beyond(plot);
    plots_.push_back(std::move(plot));
  }

  void spectrum() {
    if (!file_.pictures || file_.pictures->spectrum.level_db.empty()) return;
    const auto& found = file_.pictures->spectrum;
    auto plot = begun("spectrum", "Long-term spectrum");
    Series bars;
    bars.kind = Series::Kind::bars;
    bars.bar_width = std::pow(10, 0.05);
    std::size_t loudest = 0;
    for (std::size_t b = 0; b < found.level_db.size(); ++b) {
      bars.x.push_back(found.centre_hz[b]);
      bars.y.push_back(static_cast<double>(found.level_db[b]));
      if (found.level_db[b] > found.level_db[loudest]) loudest = b;
    }
    const double top = std::max(-60.0, bars.y[loudest]);
    plot.y.high = std::ceil((top + 1) / 10) * 10;
    plot.y.low = plot.y.high - 80;
    plot.y.ticks = round_ticks(plot.y.low, plot.y.high, 5);
    plot.y.label = "level (dBFS)";
    plot.x = {20, 25000, true, "third-octave bands by their middle (Hz)", {}};
    for (const auto& [hz, text] : {std::pair{31.5, "31.5"},
                                   {63.0, "63"},
                                   {125.0, "125"},
                                   {250.0, "250"},
                                   {500.0, "500"},
                                   {1000.0, "1 k"},
                                   {2000.0, "2 k"},
                                   {4000.0, "4 k"},
                                   {8000.0, "8 k"},
                                   {16000.0, "16 k"}})
      plot.x.ticks.push_back({hz, text});
    plot.caption = "Most sound lies in the third-octave round " + frequency(bars.x[loudest]) + " (" +
                   base::fixed(bars.y[loudest], 1) + " dBFS).";
    // Slope of the middle: least squares from 100 Hz to 10 kHz, per octave.
    double n = 0, sx = 0, sy = 0, sxx = 0, sxy = 0;
    for (std::size_t b = 0; b < bars.x.size(); ++b) {
      if (bars.x[b] < 95 || bars.x[b] > 10500 || bars.y[b] <= -140) continue;
      const double octave = std::log2(bars.x[b]);
      n += 1, sx += octave, sy += bars.y[b], sxx += octave * octave, sxy += octave * bars.y[b];
    }
    if (n >= 10)
      plot.caption += " From 100 Hz to 10 kHz it changes by " +
                      base::fixed((n * sxy - sx * sy) / (n * sxx - sx * sx), 1) + " dB per octave.";
    if (found.bandwidth_hz) {
      plot.marks.push_back({*found.bandwidth_hz, *found.bandwidth_hz, frequency(*found.bandwidth_hz), Status::note});
      plot.caption +=
          " Above " + frequency(*found.bandwidth_hz) + ", the upper end of a third-octave, it falls off sharply.";
    } else {
      plot.caption += " No sharp end of the bandwidth was found.";
    }
    plot.series.push_back(std::move(bars));
    plots_.push_back(std::move(plot));
  }

  static std::string frequency(double hz) {
    return hz < 1000 ? base::fixed(hz, hz < 100 ? 1 : 0) + " Hz" : base::fixed(hz / 1000, hz < 10000 ? 2 : 1) + " kHz";
  }

  void correlation() {
    const auto* line = timeline("correlation");
    if (line == nullptr) return;
    auto plot = over_time("correlation", "Left against right");
    plot.series.push_back(line_of(*line, "", 0));
    // A value stands for the 3 s that end there.
    limits(plot, {"phase_correlation", "min_phase_correlation"});
    plot.y = {-1, 1, false, "correlation", round_ticks(-1, 1, 4)};
    mark(plot, {"min_phase_correlation", "phase_correlation", "inverted_channel"});
    std::int64_t heard = 0, below = 0;
    for (const float y : line->values) heard += std::isfinite(y) ? 1 : 0, below += y < 0 ? 1 : 0;
    plot.caption = heard == 0
                       ? "Never do both channels sound for 3 s."
                       : "Over the whole file " + shown("phase_correlation") + ", lowest " +
                             shown("min_phase_correlation") + place_text("min_phase_correlation") +
                             "; below 0, where mono loses level, for " +
                             share_text(static_cast<double>(below) / static_cast<double>(heard)) + " of the time.";
    plots_.push_back(std::move(plot));
  }

  void low_mono() {
    const auto* line = timeline("low_mono_loss");
    if (line == nullptr) return;
    auto plot = over_time("low-mono", "What the low end loses in mono");
    plot.series.push_back(line_of(*line, "", 0));
    double top = 6, most = 0;
    std::size_t at = 0;
    std::int64_t heard = 0;
    for (std::size_t i = 0; i < line->values.size(); ++i) {
      const double y = static_cast<double>(line->values[i]);
      if (!std::isfinite(y)) continue;
      ++heard;
      if (y > most) most = y, at = i;
    }
    limits(plot, {"mono_fold_loss_low"});
    top = std::min(60.0, std::max(top, std::ceil(most / 3) * 3));
    plot.y = {0, top, false, "loss below 120 Hz (dB)", round_ticks(0, top, 4)};
    mark(plot, {"mono_fold_loss_low", "low_phase_correlation", "side_level_low"});
    plot.caption = heard == 0
                       ? "There is nothing below 120 Hz."
                       : "Below 120 Hz mono costs " + shown("mono_fold_loss_low") + " over the whole file, at most " +
                             base::fixed(most, 1) + " dB in a tenth of a second (" +
                             at_time(line->start_s + static_cast<double>(at) * line->step_s) +
                             "). 0 is a mono low end, 3 dB unrelated sides, more means that they cancel.";
    plots_.push_back(std::move(plot));
  }

  void density() {
    if (!file_.pictures || file_.pictures->density.cells == 0) return;
    const auto& found = file_.pictures->density;
    auto plot = begun("density", "Where the sound stands");
    plot.square = true;
    plot.cells = found.cells;
    // Left on the left: side is left minus right.
    for (int row = 0; row < found.cells; ++row) {
      for (int column = found.cells; column-- > 0;)
        plot.grid.push_back(found.share[static_cast<std::size_t>(row * found.cells + column)]);
    }
    const double reach = found.reach;
    plot.x = {-reach,
              reach,
              false,
              "side (full scale 1)",
              {{-reach / 2, "left louder"}, {0, "alike"}, {reach / 2, "right louder"}}};
    plot.y = {-reach, reach, false, "mid (full scale 1)", round_ticks(-reach, reach, 6)};
    double middle = 0, wide = 0, all = 0;
    for (int row = 0; row < found.cells; ++row) {
      for (int column = 0; column < found.cells; ++column) {
        const double share = static_cast<double>(found.share[static_cast<std::size_t>(row * found.cells + column)]);
        const double m = std::abs(row - (found.cells - 1) / 2.0), s = std::abs(column - (found.cells - 1) / 2.0);
        all += share;
        if (m > s) middle += share;
        if (m < s) wide += share;
      }
    }
    plot.caption = "Upright is mono, across is what mono cancels. " + share_text(all > 0 ? middle / all : 0) +
                   " of the frames hold more mid than side, " + share_text(all > 0 ? wide / all : 0) +
                   " more side than mid; side to mid is " + shown("side_to_mid") + ", left over right " +
                   shown("channel_balance") + ".";
    plots_.push_back(std::move(plot));
  }

  void levels() {
    if (!file_.pictures || file_.pictures->levels.share.empty()) return;
    const auto& found = file_.pictures->levels;
    auto plot = begun("levels", "How long at which level");
    Series bars;
    bars.kind = Series::Kind::bars;
    bars.bar_width = 0.5;
    std::size_t most = 0;
    double top = 0;
    for (std::size_t i = 0; i < found.share.size(); ++i) {
      bars.x.push_back(found.low_db + static_cast<double>(i) + 0.5);
      bars.y.push_back(100 * static_cast<double>(found.share[i]));
      top = std::max(top, bars.y.back());
      if (i > 0 && found.share[i] > found.share[most]) most = i;
    }
    plot.y.high = std::max(5.0, std::ceil(top / 5) * 5);
    plot.y.low = 0;
    plot.y.ticks = round_ticks(0, plot.y.high, 4);
    plot.y.label = "share of the time (%)";
    plot.x = {found.low_db, 1, false, "peak of 10 ms (dBFS); the first bar holds all below -60, the last all above 0",
              round_ticks(-60, 0, 6)};
    const double edge = bars.x[most] - 0.5;
    plot.caption =
        "Most often, " + share_text(static_cast<double>(found.share[most])) + " of the time, 10 ms peak between " +
        base::fixed(edge, 0) + " and " + base::fixed(edge + 1, 0) + " dBFS. " +
        share_text(static_cast<double>(found.share.front())) + " lies below -60 dBFS" +
        (found.share.back() > 0 ? ", and " + share_text(static_cast<double>(found.share.back())) + " above full scale."
                                : ".") +
        " A limiter shows as a heap at the right edge.";
    plot.series.push_back(std::move(bars));
    plots_.push_back(std::move(plot));
  }

  const FileSheet& file_;
  const std::vector<Numbered>& findings_;
  const Catalog& catalog_;
  const std::string& prefix_;
  const double length_;
  std::vector<Plot> plots_;
};

}  // namespace

std::vector<Plot> plots_of(const FileSheet& file, const std::vector<Numbered>& findings, const Catalog& catalog,
                           const std::string& prefix) {
  return FilePlots(file, findings, catalog, prefix).all();
}

}  // namespace sendworthy::sheet
