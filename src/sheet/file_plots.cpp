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

  /// Marks where findings are: of the measurements named, or of all. A sheet holds only the first places of a finding;
  /// where a timeline counts all of them, marks follow that.
  void mark(Plot& plot, std::initializer_list<std::string_view> of = {}) const {
    std::string missing;
    for (const auto& [number, finding] : findings_) {
      if (of.size() > 0 && std::find(of.begin(), of.end(), finding->measure) == of.end()) continue;
      const auto name = std::to_string(number);
      const bool all = finding->where_total <= static_cast<std::int64_t>(finding->where.size());
      const auto* counts = timeline(finding->measure == "clipped_samples" ? "clipped_runs" : finding->measure);
      if (!all && counts != nullptr) {
        spread(plot, *counts, name, finding->status);
        continue;
      }
      std::size_t marked = 0;
      for (const auto& where : finding->where) {
        if (!where.file.empty()) continue;
        plot.marks.push_back({where.start_s, where.end_s, name, finding->status});
        ++marked;
      }
      if (!all && marked > 0)
        missing += " Of finding " + name + " the first " + std::to_string(marked) + " of " +
                   std::to_string(finding->where_total) + " places are marked.";
    }
    plot.caption += missing;
  }

  /// Stretches in which anything was counted, neighbours joined.
  void spread(Plot& plot, const Timeline& counts, const std::string& name, Status status) const {
    constexpr std::size_t kMostMarks = 200;
    for (double gap = 1.5 * counts.step_s;; gap *= 2) {
      std::vector<Mark> marks;
      for (std::size_t i = 0; i < counts.values.size(); ++i) {
        if (!(counts.values[i] > 0)) continue;
        const double from = counts.start_s + static_cast<double>(i) * counts.step_s;
        const double to = std::min(length_, from + counts.step_s);
        if (!marks.empty() && from - marks.back().to < gap - counts.step_s) {
          marks.back().to = to;
        } else {
          marks.push_back({from, to, name, status});
        }
      }
      if (marks.size() > kMostMarks) continue;
      plot.marks.insert(plot.marks.end(), marks.begin(), marks.end());
      return;
    }
  }

  /// Whether a rule asks for the measurement as it is drawn: without parameters, or with those it has by itself.
  bool as_drawn(const Finding& finding, std::string_view id) const {
    if (finding.measure != id || !finding.compare_to.empty()) return false;
    if (finding.key == finding.measure || finding.key.empty()) return true;
    const auto* entry = catalog_.find(finding.measure);
    if (entry == nullptr) return false;
    std::string usual;
    for (const auto& parameter : entry->parameters)
      usual += (usual.empty() ? "" : ",") + std::string(parameter.name) + "=" + base::shortest(parameter.fallback);
    return finding.key == finding.measure + "(" + usual + ")";
  }

  static int gravity(Status status) { return status == Status::fail ? 3 : status == Status::warn ? 2 : 1; }

  static std::string words_of(const Bound& bound) {
    return std::string(to_string(bound.status)) + " " + std::string(to_string(bound.kind)) + " " +
           base::shortest(bound.at);
  }

  /// The bounds that the rule sets hold against a measurement, each once; `of` names what they judge. `mirrored`: the
  /// plot shows them negated.
  void limits(Plot& plot, std::string_view id, std::string_view of = "", bool lower_ones = true,
              bool mirrored = false) const {
    for (const auto& finding : file_.findings) {
      if (!as_drawn(finding, id)) continue;
      for (const auto& bound : finding.bounds) {
        if (bound.kind == LimitKind::below && !lower_ones) continue;
        Limit limit{mirrored ? -bound.at : bound.at, (of.empty() ? "" : std::string(of) + ": ") + words_of(bound),
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

  bool measured(std::string_view key) const { return value(key).has_value(); }
  /// Why there is no value, in the words of the meter.
  std::string why_not(std::string_view key) const {
    const auto* one = measurement(key);
    const auto reason = one != nullptr ? reason_of(one->outcome) : std::string();
    return base::for_terminal(reason.empty() ? "not measured" : reason);
  }

  /// How the value stands to the bounds drawn for it.
  std::string standing(std::string_view id, std::string_view unit) const {
    const auto is = value(id);
    if (!is) return "";
    const Bound* worst = nullptr;
    std::size_t drawn = 0;
    for (const auto& finding : file_.findings) {
      if (!as_drawn(finding, id)) continue;
      for (const auto& bound : finding.bounds) {
        ++drawn;
        const bool broken =
            bound.kind == LimitKind::above ? *is > bound.at : bound.kind == LimitKind::below && *is < bound.at;
        if (broken && (worst == nullptr || gravity(bound.status) > gravity(worst->status))) worst = &bound;
      }
    }
    if (worst != nullptr)
      return " That is " + base::fixed(std::abs(*is - worst->at), 1) + " " + std::string(unit) + " beyond \"" +
             words_of(*worst) + "\".";
    return drawn > 0 ? " It lies inside every limit drawn for it." : "";
  }

  void waveform() {
    const auto* high = timeline("highest", 1);
    if (high == nullptr) return;
    auto plot = over_time("waveform", "Waveform");
    constexpr int kMostLanes = 16;
    const int channels = std::min(file_.facts.channels, kMostLanes);
    double reach = 1;
    for (int c = 1; c <= channels; ++c) {
      const auto *top = timeline("highest", c), *bottom = timeline("lowest", c);
      if (top == nullptr || bottom == nullptr) continue;
      for (const float v : top->values) reach = std::max(reach, static_cast<double>(v));
      for (const float v : bottom->values) reach = std::max(reach, -static_cast<double>(v));
    }
    // One lane per channel, from the top: lane c lies round −2·reach·c, with lines at full scale.
    for (int c = 1; c <= channels; ++c) {
      const auto *top = timeline("highest", c), *bottom = timeline("lowest", c);
      if (top == nullptr || bottom == nullptr || top->values.size() != bottom->values.size()) continue;
      const double middle = -2.0 * reach * (c - 1);
      Series lane;
      lane.kind = Series::Kind::band;
      lane.style = (c - 1) % 2;
      lane.name = channels == 2 ? channel_name(c, 2) : channels == 1 ? "" : std::to_string(c);
      for (std::size_t i = 0; i < top->values.size(); ++i) {
        lane.x.push_back(static_cast<double>(i) * top->step_s);
        lane.y.push_back(static_cast<double>(top->values[i]) + middle);
        lane.y2.push_back(static_cast<double>(bottom->values[i]) + middle);
      }
      plot.series.push_back(std::move(lane));
      plot.y.ticks.push_back({middle + 1, channels == 1 ? "1" : ""});
      plot.y.ticks.push_back({middle, channels == 2   ? (c == 1 ? "left" : "right")
                                      : channels == 1 ? "0"
                                                      : std::to_string(c)});
      plot.y.ticks.push_back({middle - 1, channels == 1 ? "-1" : ""});
    }
    plot.y.low = -2 * reach * (channels - 1) - 1.05 * reach;
    plot.y.high = 1.05 * reach;
    plot.y.label = channels == 1 ? "sample" : "channels, -1 to 1";
    plot.caption = measured("sample_peak")
                       ? "The highest sample is " + shown("sample_peak") + place_text("sample_peak") + "."
                       : "There is no peak: " + why_not("sample_peak") + ".";
    std::size_t places = 0;
    for (const auto& one : findings_) places += one.finding->where.empty() ? 0 : 1;
    plot.caption += places == 0 ? " No finding has a place in time." : " The numbers above are those of the findings.";
    if (reach > 1) plot.caption += " The lines are full scale; samples go beyond.";
    if (channels < file_.facts.channels)
      plot.caption += " The first " + std::to_string(channels) + " of " + std::to_string(file_.facts.channels) +
                      " channels are drawn.";
    mark(plot);
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
    limits(plot, "integrated_loudness", "whole");
    limits(plot, "max_short_term_loudness", "3 s");
    limits(plot, "max_momentary_loudness", "0.4 s");
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
    if (const auto whole = value("integrated_loudness")) {
      plot.series.push_back({Series::Kind::line, "whole file", 2, {0, length_}, {*whole, *whole}, {}, 0});
      plot.caption = "The whole file reads " + shown("integrated_loudness") +
                     (measured("loudness_range") ? ", with a range of " + shown("loudness_range") : "") + "." +
                     standing("integrated_loudness", "LU");
    } else {
      plot.caption = "The whole file has no loudness: " + why_not("integrated_loudness") + ".";
    }
    if (measured("max_short_term_loudness"))
      plot.caption +=
          " The loudest 3 s reach " + shown("max_short_term_loudness") + place_text("max_short_term_loudness") + ".";
    plot.caption += beyond(plot);
    mark(plot, {"max_momentary_loudness", "max_short_term_loudness"});
    plots_.push_back(std::move(plot));
  }

  void peaks() {
    const auto* line = timeline("true_peak");
    if (line == nullptr) return;
    auto plot = over_time("peaks", "True peaks against the ceiling");
    plot.series.push_back(line_of(*line, "", 0));
    limits(plot, "true_peak", "", false);
    limits(plot, "sample_peak", "samples", false);
    limits(plot, "headroom", "headroom", true, true);
    if (std::none_of(plot.limits.begin(), plot.limits.end(), [](const Limit& one) { return one.y == 0; }))
      plot.limits.push_back({0, "full scale", Status::note});
    // Down to where most of the sound lies.
    std::vector<float> levels = line->values;
    std::sort(levels.begin(), levels.end());
    const double highest = static_cast<double>(levels.back());
    const double low = static_cast<double>(levels[levels.size() / 5]);
    plot.y = {std::clamp(std::floor((std::min(low, highest - 20) - 6) / 10) * 10, -80.0, -30.0),
              std::ceil(std::clamp(highest, 3.0, 60.0) / 3) * 3,
              false,
              "true peak (dBTP)",
              {}};
    plot.y.ticks = round_ticks(plot.y.low, plot.y.high, 6);
    // The ceiling: the strictest bound of the gravest kind.
    Bound ceiling{Status::note, LimitKind::above, 0};
    for (const auto& finding : file_.findings) {
      if (!as_drawn(finding, "true_peak")) continue;
      for (const auto& bound : finding.bounds) {
        const bool graver = gravity(bound.status) > gravity(ceiling.status);
        if (bound.kind == LimitKind::above && bound.status != Status::note &&
            (graver || (bound.status == ceiling.status && bound.at < ceiling.at)))
          ceiling = bound;
      }
    }
    if (measured("true_peak")) {
      const auto over = std::count_if(line->values.begin(), line->values.end(),
                                      [&](float y) { return static_cast<double>(y) > ceiling.at; });
      const auto above =
          "above " + (ceiling.at == 0 ? std::string("full scale") : base::fixed(ceiling.at, 1) + " dBTP");
      plot.caption = "The highest peak is " + shown("true_peak") + place_text("true_peak") + "; ";
      plot.caption += over == 0 ? "none goes " + above + "."
                                : share_text(static_cast<double>(over) / static_cast<double>(line->values.size())) +
                                      " of the time goes " + above + ".";
    } else {
      plot.caption = "There is no peak: " + why_not("true_peak") + ".";
    }
    if (const auto clipped = value("clipped_runs")) {
      plot.caption += *clipped == 0 ? " Nothing is clipped."
                                    : " Clipped in " + plural(static_cast<std::int64_t>(*clipped), "place.", "places.");
    }
    if (const auto limited = value("limited_peaks"); limited && *limited >= 1)
      plot.caption += " In " + shown("limited_peaks") +
                      " of the 10 ms windows the peak stands within 0.1 dB of the highest: a "
                      "limiter or a clipper holds it there.";
    plot.caption += beyond(plot);
    mark(plot,
         {"clipped_runs", "clipped_samples", "over_full_scale_samples", "flat_top_runs", "true_peak", "sample_peak"});
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
    // Up to the top of the last band, and no less than what is heard.
    plot.x = {20,
              std::max(22500.0, found.centre_hz.back() * bars.bar_width),
              true,
              "third-octave bands by their middle (Hz)",
              {}};
    for (const auto& [hz, text] : {std::pair{31.5, "31.5"},
                                   {63.0, "63"},
                                   {125.0, "125"},
                                   {250.0, "250"},
                                   {500.0, "500"},
                                   {1000.0, "1 k"},
                                   {2000.0, "2 k"},
                                   {4000.0, "4 k"},
                                   {8000.0, "8 k"},
                                   {16000.0, "16 k"},
                                   {31500.0, "31.5 k"},
                                   {63000.0, "63 k"}}) {
      if (hz < plot.x.high) plot.x.ticks.push_back({hz, text});
    }
    if (bars.y[loudest] <= -120) {
      plot.caption = "There is no sound to be sorted.";
    } else {
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
            " Above " + frequency(*found.bandwidth_hz) + " next to nothing is left: the bandwidth ends there.";
      } else {
        plot.caption += " The bandwidth has no sharp end below " +
                        frequency(std::min(found.centre_hz.back() * bars.bar_width, file_.facts.sample_rate / 2.0)) +
                        ".";
      }
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
    limits(plot, "phase_correlation", "whole");
    limits(plot, "min_phase_correlation", "3 s");
    plot.y = {-1, 1, false, "correlation", round_ticks(-1, 1, 4)};
    std::int64_t heard = 0, below = 0;
    for (const float y : line->values) heard += std::isfinite(y) ? 1 : 0, below += y < 0 ? 1 : 0;
    if (heard == 0) {
      plot.caption = "Never do both channels stand above -60 dBFS for 3 s, so nothing can be said.";
    } else {
      plot.caption = measured("phase_correlation") ? "Over the whole file " + shown("phase_correlation") : "";
      if (measured("min_phase_correlation") && shown("min_phase_correlation") != shown("phase_correlation"))
        plot.caption += (plot.caption.empty() ? "Lowest " : ", lowest ") + shown("min_phase_correlation") +
                        place_text("min_phase_correlation");
      plot.caption +=
          below == 0 ? (plot.caption.empty() ? "Never below 0." : "; never below 0.")
                     : (plot.caption.empty() ? "Below" : "; below") + std::string(" 0, where mono loses level, for ") +
                           share_text(static_cast<double>(below) / static_cast<double>(heard)) + " of the time.";
    }
    plot.caption += beyond(plot);
    mark(plot, {"min_phase_correlation", "phase_correlation", "inverted_channel"});
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
    limits(plot, "mono_fold_loss_low");
    for (const auto& limit : plot.limits) {
      if (limit.y <= 20) top = std::max(top, limit.y + 1);
    }
    top = std::min(60.0, std::max(top, std::ceil(most / 3) * 3));
    plot.y = {0, top, false, "loss below 120 Hz (dB)", round_ticks(0, top, 4)};
    if (heard == 0) {
      plot.caption = "There is nothing below 120 Hz.";
    } else {
      plot.caption = measured("mono_fold_loss_low")
                         ? "Below 120 Hz mono costs " + shown("mono_fold_loss_low") + " over the whole file"
                         : "Below 120 Hz there is too little to judge the whole file";
      plot.caption += ", at most " + base::fixed(most, 1) + " dB in a tenth of a second (" +
                      at_time(line->start_s + static_cast<double>(at) * line->step_s) + ").";
      plot.caption += most < 1   ? " The low end is mono."
                      : most > 4 ? " Above 3 dB both sides cancel."
                                 : " 3 dB is what unrelated sides lose.";
    }
    plot.caption += beyond(plot);
    mark(plot, {"mono_fold_loss_low", "low_phase_correlation", "side_level_low"});
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
    for (const auto& tick : round_ticks(-reach, reach, 5)) plot.x.ticks.push_back({-tick.at, tick.text});
    plot.x.low = -reach, plot.x.high = reach;
    plot.x.label = "side, left louder on the left (full scale 1)";
    plot.y = {-reach, reach, false, "mid (full scale 1)", round_ticks(-reach, reach, 6)};
    const auto peak = value("sample_peak");
    if (!peak || *peak < -50) {
      plot.caption = "The file is too quiet for this picture.";
    } else {
      plot.caption = "Upright is mono, across is what mono cancels; the darker, the more often, over 50 dB. " +
                     share_text(found.more_mid) + " of the frames hold more mid than side, " +
                     share_text(found.more_side) + " more side than mid.";
      if (measured("side_to_mid")) plot.caption += " Side to mid is " + shown("side_to_mid") + ".";
      if (measured("channel_balance")) plot.caption += " Left over right: " + shown("channel_balance") + ".";
      if (reach < 0.99) plot.caption += " 99.5 % of the frames lie inside.";
      if (*peak > 0.01) plot.caption += " What goes beyond full scale stands at the rim.";
    }
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
      // Silence is told apart; what is asked is where the sound stands.
      if (i > 0 && found.share[i] > (most == 0 ? 0.0f : found.share[most])) most = i;
    }
    plot.y.high = std::max(5.0, std::ceil(top / 5) * 5);
    plot.y.low = 0;
    plot.y.ticks = round_ticks(0, plot.y.high, 5);
    plot.y.label = "share of the time (%)";
    plot.x = {found.low_db, 1, false, "peak of 10 ms (dBFS); the first bar holds all below -60, the last all above 0",
              round_ticks(-60, 0, 6)};
    const auto share = [&](std::size_t bin) { return share_text(static_cast<double>(found.share[bin])); };
    const double edge = bars.x[most] - 0.5;
    if (most == 0) {
      plot.caption = "All of it lies below -60 dBFS.";
    } else {
      plot.caption = "Most often, " + share(most) + " of the time, 10 ms peak " +
                     (most + 1 == found.share.size()
                          ? "above 0 dBFS."
                          : "between " + base::fixed(edge, 0) + " and " + base::fixed(edge + 1, 0) + " dBFS.");
      plot.caption += " " + share(0) + " of the time lies below -60 dBFS" +
                      (found.share.back() > 0 && most + 1 != found.share.size()
                           ? ", and " + share(found.share.size() - 1) + " above full scale."
                           : ".");
      if (const auto limited = value("limited_peaks"); limited && *limited >= 5)
        plot.caption += " The heap at the right edge is what a limiter or a clipper holds there.";
    }
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
