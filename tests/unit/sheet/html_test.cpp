// The page: what its pictures show is read back from their geometry and held against what was measured.
#include <doctest/doctest.h>
#include <sendworthy/check.h>
#include <sendworthy/rule_set.h>
#include <soxr.h>
#include <stdlib.h>

#include <cmath>
#include <filesystem>
#include <limits>
#include <map>
#include <numbers>
#include <sstream>
#include <tuple>

#include "faults/sample.h"
#include "sheet/plot.h"
#include "signals.h"
#include "unit/sheet/helpers.h"

using namespace sendworthy;
using namespace sendworthy::fixture;

namespace {

struct Scale {
  double first = 0, last = 1, low = 0, high = 1;
  bool logarithmic = false;
  [[nodiscard]] double value(double pixel) const {
    const double share = (pixel - first) / (last - first);
    return logarithmic ? low * std::pow(high / low, share) : low + share * (high - low);
  }
};

// By plain searching: the standard library's regular expressions recurse for every character of a long path.
std::string attribute(const std::string& tag, const std::string& name) {
  const auto at = tag.find(" " + name + "=\"");
  REQUIRE(at != tag.npos);
  const auto from = at + name.size() + 3;
  return tag.substr(from, tag.find('"', from) - from);
}

std::vector<std::string> tags(const std::string& text, const std::string& begin) {
  std::vector<std::string> found;
  for (auto at = text.find(begin); at != text.npos; at = text.find(begin, at + 1))
    found.push_back(text.substr(at, text.find('>', at) - at));
  return found;
}

Scale scale_of(const std::string& figure, const std::string& axis) {
  std::istringstream words(attribute(figure, "data-" + axis));
  Scale scale;
  std::string kind;
  words >> scale.first >> scale.last >> scale.low >> scale.high >> kind;
  scale.logarithmic = kind == "log";
  return scale;
}

std::vector<double> numbers(std::string d) {
  for (auto& c : d) {
    if (std::string_view("MLHVz").find(c) != std::string_view::npos) c = ' ';
  }
  std::istringstream words(d);
  std::vector<double> made;
  for (double value = 0; words >> value;) made.push_back(value);
  return made;
}

std::string path_of(const std::string& figure, const std::string& css, const std::string& name) {
  for (const auto& tag : tags(figure, "<path class=\"" + css)) {
    if (tag.find(" data-name=\"" + name + "\"") != tag.npos) return attribute(tag, "d");
  }
  FAIL("no path " << css << " " << name);
  return "";
}

/// Points of the path of that class and name, in the units of the axes.
std::vector<std::pair<double, double>> points(const std::string& figure, const std::string& css,
                                              const std::string& name = "") {
  const auto x = scale_of(figure, "x"), y = scale_of(figure, "y");
  const auto list = numbers(path_of(figure, css, name));
  REQUIRE(list.size() % 2 == 0);
  std::vector<std::pair<double, double>> made;
  for (std::size_t i = 0; i < list.size(); i += 2) made.emplace_back(x.value(list[i]), y.value(list[i + 1]));
  return made;
}

/// Tops of bars, by their middles. A bar is M left bottom V top H right V bottom z.
std::vector<std::pair<double, double>> bars(const std::string& figure) {
  const auto x = scale_of(figure, "x"), y = scale_of(figure, "y");
  const auto list = numbers(path_of(figure, "bars", ""));
  REQUIRE(list.size() % 5 == 0);
  std::vector<std::pair<double, double>> made;
  for (std::size_t i = 0; i < list.size(); i += 5)
    made.emplace_back(x.value((list[i] + list[i + 3]) / 2), y.value(list[i + 2]));
  return made;
}

struct Cell {
  double side, mid, opacity;
};

/// Cells of the density by their middles. A cell is M left top h width v height h-width z.
std::vector<Cell> cells(const std::string& figure) {
  const auto x = scale_of(figure, "x"), y = scale_of(figure, "y");
  std::vector<Cell> made;
  for (const auto& tag : tags(figure, "<path class=\"cell\"")) {
    auto d = attribute(tag, "d");
    for (auto& c : d) {
      if (std::string_view("Mhvz").find(c) != std::string_view::npos) c = ' ';
    }
    std::istringstream words(d);
    for (double left = 0, top = 0, width = 0, height = 0, back = 0; words >> left >> top >> width >> height >> back;)
      made.push_back({x.value(left + width / 2), y.value(top + height / 2), std::stod(attribute(tag, "fill-opacity"))});
  }
  return made;
}

/// The same clip, with nothing left above half of `rate`: down and up again by libsoxr.
test::Clip band_limited(test::Clip clip, double rate) {
  for (auto& channel : clip.channels) {
    const auto through = [](const std::vector<double>& in, double from, double to) {
      std::vector<double> out(static_cast<std::size_t>(static_cast<double>(in.size()) * to / from) + 1000);
      std::size_t used = 0, got = 0;
      const auto types = soxr_io_spec(SOXR_FLOAT64, SOXR_FLOAT64);
      const auto quality = soxr_quality_spec(SOXR_VHQ, 0);
      REQUIRE(soxr_oneshot(from, to, 1, in.data(), in.size(), &used, out.data(), out.size(), &got, &types, &quality,
                           nullptr) == nullptr);
      out.resize(got);
      return out;
    };
    const auto frames = channel.size();
    channel = through(through(channel, clip.rate, rate), rate, clip.rate);
    channel.resize(frames);
  }
  return clip;
}

double highest(const std::vector<std::pair<double, double>>& line) {
  double top = -1e9;
  for (const auto& [x, y] : line) top = std::max(top, y);
  return top;
}
double lowest(const std::vector<std::pair<double, double>>& line) {
  double bottom = 1e9;
  for (const auto& [x, y] : line) bottom = std::min(bottom, y);
  return bottom;
}

struct Checked {
  FileSheet file;
  std::string page;
  std::map<std::string, std::string> figures;
  [[nodiscard]] double value(const std::string& key) const {
    for (const auto& one : file.measurements) {
      if (one.key == key) return number(one.outcome).value();
    }
    FAIL("no measurement " << key);
    return 0;
  }
};

Checked checked(const test::Clip& clip, const char* rules = "premaster") {
  const test::Folder folder;
  CheckOptions options;
  options.today = "2026-01-01";
  options.pictures = true;
  const auto set = load_rule_set(rules, {}, catalog());
  REQUIRE(set.has_value());
  const auto sheet = check_files({test::write_sample(folder.path, "song", clip, {})}, {*set}, options);
  Checked made{sheet.files.front(), render_html(sheet, catalog()), {}};
  REQUIRE_FALSE(made.file.error.has_value());
  for (auto at = made.page.find("<figure "); at != made.page.npos; at = made.page.find("<figure ", at + 1)) {
    const auto text = made.page.substr(at, made.page.find("</figure>", at) - at);
    made.figures[attribute(text, "data-kind")] = text;
  }
  return made;
}

}  // namespace

TEST_SUITE("sheet/html") {
  TEST_CASE("what the pictures show is what was measured") {
    auto clip = test::music();
    clip.gain_db(6);  // some clip
    const auto made = checked(clip);
    for (const char* kind :
         {"waveform", "loudness", "peaks", "spectrum", "correlation", "low-mono", "density", "levels"}) {
      CAPTURE(kind);
      REQUIRE(made.figures.contains(kind));
      CHECK(holds(made.figures.at(kind), "<title id="));
      CHECK(holds(made.figures.at(kind), "<desc id="));
    }
    // A pixel's tenth of each axis, plus what windows of 100 ms may miss of a peak that moves by 10 ms.
    CHECK(highest(points(made.figures.at("peaks"), "line s0")) ==
          doctest::Approx(made.value("true_peak")).epsilon(0.05 / std::abs(made.value("true_peak"))));
    CHECK(highest(points(made.figures.at("loudness"), "line s0", "short-term (3 s)")) ==
          doctest::Approx(made.value("max_short_term_loudness")).epsilon(0.02));
    CHECK(highest(points(made.figures.at("loudness"), "line s1", "momentary (0.4 s)")) ==
          doctest::Approx(made.value("max_momentary_loudness")).epsilon(0.05));
    CHECK(lowest(points(made.figures.at("correlation"), "line s0")) ==
          doctest::Approx(made.value("min_phase_correlation")).epsilon(0.02));
    const auto left = points(made.figures.at("waveform"), "band s0", "left"),
               right = points(made.figures.at("waveform"), "band s1", "right");
    CHECK(std::max({highest(left), -lowest(left), highest(right) + 2, -2 - lowest(right)}) ==
          doctest::Approx(std::pow(10, made.value("sample_peak") / 20)).epsilon(0.02));

    const auto& pictures = made.file.pictures.value();
    const auto bands = bars(made.figures.at("spectrum"));
    std::size_t seen = 0;
    for (const auto& [hz, db] : bands) {
      for (std::size_t b = 0; b < pictures.spectrum.centre_hz.size(); ++b) {
        if (std::abs(std::log(hz / pictures.spectrum.centre_hz[b])) > 0.05) continue;
        ++seen;
        CHECK(db == doctest::Approx(static_cast<double>(pictures.spectrum.level_db[b])).epsilon(0.01));
      }
    }
    CHECK(seen == bands.size());
    // The bands together hold nearly all of the file's power.
    double power = 0;
    for (const float db : pictures.spectrum.level_db) power += std::pow(10, static_cast<double>(db) / 10);
    CHECK(10 * std::log10(power) == doctest::Approx(made.value("rms_level")).epsilon(0.02));

    double shares = 0;
    for (const auto& [db, share] : bars(made.figures.at("levels"))) shares += share;
    CHECK(shares == doctest::Approx(100).epsilon(0.02));
    double all = 0;
    for (const float share : pictures.density.share) all += static_cast<double>(share);
    CHECK(all > 0.99);
    CHECK(all < 1.0001);
  }

  TEST_CASE("the density puts mono upright, the opposite flat and one side on its slant") {
    test::Clip clip;
    const auto tone = test::sine(48000, 440, 0.5, 3 * 48000), none = test::silence(3 * 48000);
    auto opposite = tone;
    for (auto& v : opposite) v = -v;
    for (const auto& [left, right, mid, side] :
         {std::tuple{tone, tone, 1.0, 0.0}, {tone, opposite, 0.0, 1.0}, {tone, none, 0.5, 0.5}}) {
      clip.channels = {left, right};
      const auto made = checked(clip);
      const auto found = cells(made.figures.at("density"));
      REQUIRE(found.size() > 10);
      double most = 0;
      const double step = 2 * made.file.pictures->density.reach / made.file.pictures->density.cells;
      for (const auto& cell : found) {
        // On the line from the origin in direction (−side, mid): left stands on the left.
        CHECK(std::abs(cell.mid * side + cell.side * mid) <= 1.1 * step);
        most = std::max({most, std::abs(cell.mid), std::abs(cell.side)});
      }
      CHECK(most == doctest::Approx(0.5 * std::max(mid, side)).epsilon(0.1));
    }
  }

  TEST_CASE("the low end's loss is drawn at what it is") {
    // Two equal tones a quarter of a period apart: their sum has √2 of one's level instead of 2, 3.01 dB less.
    test::Clip clip;
    clip.channels = {test::sine(48000, 60, 0.3, 4 * 48000),
                     test::sine(48000, 60, 0.3, 4 * 48000, std::numbers::pi / 2)};
    const auto made = checked(clip);
    const auto line = points(made.figures.at("low-mono"), "line s0");
    REQUIRE(line.size() > 10);
    double middle = 0;
    for (const auto& [x, y] : line) middle = std::abs(x - 2) < 0.1 ? y : middle;
    CHECK(middle == doctest::Approx(3.01).epsilon(0.03));
    CHECK(made.value("mono_fold_loss_low") == doctest::Approx(3.01).epsilon(0.03));
  }

  TEST_CASE("the end of the bandwidth is marked where there is one, and not where music only steps down") {
    CHECK_FALSE(checked(test::music()).file.pictures->spectrum.bandwidth_hz.has_value());
    // libsoxr at its highest quality passes 91 % of half the lower rate and nothing above it.
    for (const double rate : {22050.0, 32000.0, 40000.0}) {
      test::Clip clip;
      clip.channels = {test::noise(1, 0.3, 6 * 48000), test::noise(2, 0.3, 6 * 48000)};
      const auto made = checked(band_limited(clip, rate));
      REQUIRE(made.file.pictures->spectrum.bandwidth_hz.has_value());
      const auto marks = tags(made.figures.at("spectrum"), "<path class=\"mark ");
      REQUIRE(marks.size() == 1);
      const auto x = scale_of(made.figures.at("spectrum"), "x");
      const double end = x.value(numbers(attribute(marks.front(), "d")).at(0));
      CHECK(end > 0.91 * rate / 2);
      CHECK(end < 1.01 * rate / 2);
    }
    test::Clip noise;
    noise.channels = {test::noise(1, 0.3, 6 * 48000), test::noise(2, 0.3, 6 * 48000)};
    CHECK_FALSE(checked(noise).file.pictures->spectrum.bandwidth_hz.has_value());
    // A loud bass over full-band music is no end.
    const auto bass = test::sine(48000, 50, 0.6, 6 * 48000);
    for (auto& channel : noise.channels) {
      for (std::size_t n = 0; n < channel.size(); ++n) channel[n] = 0.05 * channel[n] + bass[n];
    }
    CHECK_FALSE(checked(noise).file.pictures->spectrum.bandwidth_hz.has_value());
  }

  TEST_CASE("every bound of the rules lies at its value, whatever the status") {
    // EBU R 128 with its tolerances, as the rule set broadcast-r128 holds them against a programme.
    const auto made = checked(test::music(), "broadcast-r128");
    const auto& figure = made.figures.at("loudness");
    const auto y = scale_of(figure, "y");
    std::map<double, std::string> found;
    for (const auto& tag : tags(figure, "<path class=\"limit ")) {
      const double at = y.value(numbers(attribute(tag, "d")).at(1));
      CHECK(at == doctest::Approx(std::stod(attribute(tag, "data-at"))).epsilon(0.005));
      found[std::stod(attribute(tag, "data-at"))] = attribute(tag, "class");
    }
    CHECK(found == std::map<double, std::string>{
                       {-24, "limit fail"}, {-23.2, "limit warn"}, {-22.8, "limit warn"}, {-22, "limit fail"}});
    CHECK(holds(figure, ">whole: fail above -22<"));
    CHECK(holds(made.figures.at("peaks"), ">fail above -1<"));
    // Headroom is the ceiling turned round.
    const auto premaster = checked(test::music());
    bool drawn = false;
    for (const auto& tag : tags(premaster.figures.at("peaks"), "<path class=\"limit warn"))
      drawn = drawn || attribute(tag, "data-at") == "-3";
    CHECK(drawn);
  }

  TEST_CASE("marks stand where the findings are") {
    auto clip = test::music();
    clip.gain_db(12);
    const auto made = checked(clip);
    const auto& figure = made.figures.at("waveform");
    const auto x = scale_of(figure, "x");
    std::vector<std::pair<double, double>> marks;
    for (const auto& tag : tags(figure, "<path class=\"mark ")) {
      marks.emplace_back(std::stod(attribute(tag, "data-from")), std::stod(attribute(tag, "data-to")));
      CHECK(x.value(numbers(attribute(tag, "d")).at(0)) == doctest::Approx(marks.back().first).epsilon(0.01));
    }
    std::size_t places = 0;
    for (const auto& finding : made.file.findings) {
      if (finding.status == Status::pass) continue;
      for (const auto& where : finding.where) {
        ++places;
        CHECK(std::any_of(marks.begin(), marks.end(), [&](const auto& mark) {
          return mark.first <= where.start_s + 1e-9 && where.start_s <= mark.second + 1e-9;
        }));
      }
    }
    CHECK(places > 0);
  }

  TEST_CASE("marks show all places of a fault, also those a sheet has no room for") {
    auto clip = test::music();
    clip.gain_db(-6);
    // Bursts cut off at full scale: many at the start, one late.
    for (auto& channel : clip.channels) {
      for (std::size_t n = 0; n < 48000; ++n)
        channel[n] = std::clamp(1.5 * std::sin(0.05 * static_cast<double>(n)), -1.0, 1.0);
      for (std::size_t n = 480000; n < 480100; ++n) channel[n] = 1;
    }
    const auto made = checked(clip);
    double latest = 0, first_end = 1e9;
    for (const auto& tag : tags(made.figures.at("peaks"), "<path class=\"mark fail")) {
      const double from = std::stod(attribute(tag, "data-from")), to = std::stod(attribute(tag, "data-to"));
      CHECK((to < 1.1 || (from > 9.9 && to < 10.1)));
      latest = std::max(latest, from), first_end = std::min(first_end, to);
    }
    CHECK(latest > 9.9);
    CHECK(first_end < 1.1);
  }

  TEST_CASE("a gap swallows no peak, and a point alone is seen") {
    sheet::Plot plot;
    plot.id = "x";
    plot.x = {0, 30000, false, "x", {}};
    plot.y = {-60, 0, false, "y", {}};
    sheet::Series line;
    for (int i = 0; i < 30000; ++i) {
      line.x.push_back(i);
      line.y.push_back(i % 50 == 49 ? -10 - i % 7 : std::nan(""));
    }
    plot.series.push_back(line);
    const auto figure = sheet::figure_of(plot);
    // Every lone point is written twice, so that a line of no length marks it.
    const auto found = points(figure, "line s0");
    CHECK(found.size() == 1200);
    CHECK(highest(found) == doctest::Approx(-10).epsilon(0.01));
    CHECK(lowest(found) == doctest::Approx(-16).epsilon(0.01));
    // Below the axis is not at its edge.
    plot.series.front().y.assign(30000, -80);
    CHECK(holds(sheet::figure_of(plot), "data-name=\"\" d=\"\""));
  }

  TEST_CASE("captions stay sentences where nothing could be measured") {
    for (const std::int64_t frames : {480, 24000, 96000}) {
      for (const double level : {0.0, 0.00005, 0.3}) {
        test::Clip clip;
        clip.channels = {test::scaled(test::noise(1, 1, frames), level),
                         test::scaled(test::noise(2, 1, frames), level)};
        const auto made = checked(clip);
        for (const auto& [kind, figure] : made.figures) {
          const auto from = figure.find("<p>") + 3;
          const auto caption = figure.substr(from, figure.find("</p>") - from);
          const auto& kind_here = kind;
          CAPTURE(kind_here);
          CAPTURE(caption);
          CHECK_FALSE(holds(caption, " not measured "));
          CHECK_FALSE(holds(caption, "reads not"));
          CHECK_FALSE(holds(caption, "not applicable"));
          CHECK(caption.size() > 10);
          CHECK(caption.ends_with("."));
        }
      }
    }
  }

  TEST_CASE("a file of five minutes stays small") {
    auto clip = test::music();
    const auto part = clip;
    while (clip.frames() < std::int64_t{300} * clip.rate) {
      for (std::size_t c = 0; c < clip.channels.size(); ++c)
        clip.channels[c].insert(clip.channels[c].end(), part.channels[c].begin(), part.channels[c].end());
    }
    CHECK(checked(clip).page.size() < 600000);
  }

  TEST_CASE("hostile names, tags and texts are inert") {
    auto sheet = one_mix();
    const std::string bad = "\"><script>alert(1)</script><img src=x onerror=y>'&<!--";
    sheet.files.front().path = bad;
    sheet.files.front().role = bad;
    sheet.files.front().facts.tags = {{bad, bad, bad}};
    sheet.rules.front() = {bad, bad, bad, bad, bad};
    sheet.tool_version = bad;
    for (auto& finding : sheet.files.front().findings)
      finding.rule = finding.why = finding.remedy = finding.note = finding.source = finding.limit_text = bad;
    sheet.files.front().cautions = {{bad, bad}};
    sheet.files.front().skipped = {{bad, bad, bad}};
    auto two = sheet;
    two.files.push_back(two.files.front());
    two.files.back().error = Error{ErrorCode::unreadable, bad, {}};
    for (const auto& text : {render_html(sheet, small_catalog()), render_html(two, small_catalog())}) {
      CHECK_FALSE(holds(text, "<img"));
      CHECK_FALSE(holds(text, "<!--"));
      CHECK_FALSE(holds(text, "onerror=y>'"));
      // One script, ours, and one style.
      std::size_t scripts = 0;
      for (auto at = text.find("<script"); at != text.npos; at = text.find("<script", at + 1)) ++scripts;
      CHECK(scripts == 1);
      CHECK(holds(text, "default-src 'none'"));
      CHECK_FALSE(holds(text, "unsafe"));
      CHECK_FALSE(holds(text, " style=\""));
      CHECK_FALSE(holds(text, "http:"));
      CHECK_FALSE(holds(text, "https:"));
    }
  }

  TEST_CASE("a plot of anything is drawn inside its frame") {
    const double nan = std::nan(""), infinite = std::numeric_limits<double>::infinity();
    sheet::Plot plot;
    plot.id = "x";
    plot.x = {0, 10, false, "x", sheet::time_ticks(0, 10, 5)};
    plot.y = {-1, 1, false, "y", sheet::round_ticks(-1, 1, 4)};
    plot.series.push_back(
        {sheet::Series::Kind::line, "a", 0, {0, 1, 2, 3, 4, 5}, {0, nan, 1e300, -infinite, infinite, 0.5}, {}, 0});
    plot.marks.push_back({nan, infinite, "1", Status::fail});
    plot.limits.push_back({nan, "never"});
    const auto figure = sheet::figure_of(plot);
    CHECK_FALSE(holds(figure, "nan"));
    CHECK_FALSE(holds(figure, "inf\""));
    for (const auto& [x, y] : points(figure, "line s0", "a")) {
      CHECK(std::abs(y) <= 1.001);
      CHECK(x >= -0.001);
    }
    CHECK(sheet::round_ticks(-30, 3, 6).size() >= 4);
    CHECK(sheet::time_ticks(0, 300, 8).front().text == "0:00");
  }
}
