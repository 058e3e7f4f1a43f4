#include "sheet/phrases.h"

#include <sendworthy/render.h>

#include <algorithm>
#include <charconv>
#include <cmath>

#include "base/text.h"

namespace sendworthy::sheet {
namespace {

constexpr int kMostDecimals = 9;
constexpr double kFixedBelow = 1e15;  ///< a double is no longer exact to one unit soon after

/// Levels against a reference carry their sign, as everywhere in the trade; sizes and differences do not.
bool signed_unit(Unit unit) { return unit == Unit::lufs || unit == Unit::dbtp || unit == Unit::dbfs; }

/// Two levels differ by plain decibels, two loudnesses by loudness units.
Unit unit_of_difference(Unit unit) {
  if (unit == Unit::lufs) return Unit::lu;
  return signed_unit(unit) ? Unit::db : unit;
}

std::optional<double> number_of(const std::optional<Value>& value) {
  if (!value) return std::nullopt;
  if (const auto* real = std::get_if<double>(&*value)) return *real;
  return std::nullopt;
}

bool asks_for_change(Status status) { return status == Status::fail || status == Status::warn; }

/// What a key says beyond the id: "(below_hz=150)".
std::string_view parameters_in(std::string_view key, std::string_view id) {
  return key.size() > id.size() && key.substr(0, id.size()) == id ? key.substr(id.size()) : std::string_view{};
}

std::string title(std::string_view id, std::string_view key, const Catalog& catalog) {
  const auto* entry = catalog.find(id);
  std::string text = entry != nullptr ? std::string(entry->title) : base::for_terminal(id);
  const auto parameters = parameters_in(key, id);
  if (!parameters.empty()) text += " " + base::for_terminal(parameters);
  return text;
}

}  // namespace

std::string digits(double value, int decimals) {
  if (!std::isfinite(value)) return "";
  if (decimals < 0 || std::abs(value) >= kFixedBelow) return value == 0 ? "0" : base::shortest(value);
  return base::fixed(value, decimals);
}

std::string figure(double value, Unit unit, int decimals) {
  std::string text = digits(value, decimals);
  if (text.empty()) return "not a number";
  if (signed_unit(unit) && value > 0 && text.find_first_of("123456789") != std::string::npos) text.insert(0, "+");
  if (unit == Unit::count) return text;
  const auto name = to_string(unit);
  if (!name.empty()) text.append(" ").append(name);
  return text;
}

int decimals_of(const Catalog& catalog, std::string_view id) {
  const auto* entry = catalog.find(id);
  return entry != nullptr ? entry->decimals : -1;
}

int decimals_of(const Finding& finding, const Catalog& catalog) {
  const int decimals = decimals_of(catalog, finding.measure);
  const auto value = number(finding.outcome);
  const auto limit = number_of(finding.limit);
  const auto judged = finding.status == Status::waived ? finding.before_waiver : finding.status;
  if (decimals < 0 || !value || !limit || *value == *limit || !asks_for_change(judged)) return decimals;
  for (int more = decimals; more <= kMostDecimals; ++more) {
    if (digits(*value, more) != digits(*limit, more)) return more;
  }
  return -1;
}

int decimals_as_written(double value, int decimals) {
  const auto text = digits(value, decimals);
  double back = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), back);
  return error == std::errc{} && back == value ? decimals : -1;
}

double change_to_show(double change_db) {
  const double amount = std::ceil(std::abs(change_db) * 10 - 1e-6) / 10;  // 1.0000000002 is 1.0
  return change_db < 0 ? -amount : amount;
}

std::string title_of(const Finding& finding, const Catalog& catalog) {
  if (finding.measure.empty()) return base::for_terminal(finding.title.empty() ? finding.rule : finding.title);
  std::string text = title(finding.measure, finding.key, catalog);
  if (!finding.compare_to.empty()) text += " against " + title(finding.compare_to, finding.compare_to, catalog);
  return text;
}

std::string title_of(const Measurement& measurement, const Catalog& catalog) {
  return title(measurement.id, measurement.key, catalog);
}

std::string value_of(const Finding& finding, const Catalog& catalog) {
  return show_value(finding.outcome, finding.unit, decimals_of(finding, catalog));
}

std::string value_of(const Measurement& measurement, const Catalog& catalog) {
  const auto* entry = catalog.find(measurement.id);
  return show_value(measurement.outcome, entry != nullptr ? entry->unit : Unit::ratio,
                    entry != nullptr ? entry->decimals : -1);
}

std::string reason_of(const Outcome& outcome) {
  if (const auto* missing = std::get_if<NotMeasured>(&outcome)) return base::for_terminal(missing->reason);
  if (const auto* senseless = std::get_if<NotApplicable>(&outcome)) return base::for_terminal(senseless->reason);
  const auto value = number(outcome);
  return value && !std::isfinite(*value) ? "the reading is not a finite number" : "";
}

std::string headline(const Finding& finding, const Catalog& catalog) {
  const auto reason = reason_of(finding.outcome);
  if (std::holds_alternative<NotMeasured>(finding.outcome) && reason.starts_with(kMeasuredBut)) return title_of(finding, catalog) + ": " + reason;
  std::string text = title_of(finding, catalog) + ": " + value_of(finding, catalog);
  if (!reason.empty() && reason != "not measured") text += " (" + reason + ")";
  if (!finding.limit_text.empty()) {
    // "At most 3" reads as a demand, "one of 44100, 48000" and "a multiple of 588" as a statement, and a wrong one.
    const bool bound = finding.limit_kind == LimitKind::above || finding.limit_kind == LimitKind::below ||
                       finding.limit_kind == LimitKind::none;
    const bool bare = finding.limit_text == "yes" || finding.limit_text == "no";
    const bool as_is = bound || finding.status == Status::pass;
    text += (as_is && !bare ? ", " : ", should be ") + base::for_terminal(finding.limit_text);
  }
  if (finding.within_tolerance) {
    text += ", within the measurement tolerance";
    if (finding.tolerance) text += " of " + figure(*finding.tolerance, unit_of_difference(finding.unit), -1);
  }
  return text;
}

std::string channel_name(int channel, int channels) {
  if (channel <= 0) return "";
  if (channels == 2 && channel <= 2) return channel == 1 ? "left" : "right";
  return "channel " + std::to_string(channel);
}

std::string place(const Where& where, int channels) {
  // By what is printed, never by a length in seconds: a merged sheet has its times rounded, and must read the same.
  const auto start = base::clock_time(where.start_s), end = base::clock_time(where.end_s);
  std::string text;
  if (!where.file.empty()) text += base::for_terminal(where.file) + " at ";
  text += start;
  if (where.end_s > where.start_s && end != start) text += " to " + end;
  const auto channel = channel_name(where.channel, channels);
  if (!channel.empty()) text += " " + channel;
  text += where.end_frame > where.start_frame + 1
              ? ", frames " + std::to_string(where.start_frame) + " to " + std::to_string(where.end_frame)
              : ", frame " + std::to_string(where.start_frame);
  if (!where.note.empty()) text += ": " + base::for_terminal(where.note);
  return text;
}

std::string and_more(std::size_t shown, std::int64_t total) {
  const auto known = static_cast<std::int64_t>(shown);
  return total > known ? "and " + std::to_string(total - known) + " more" : "";
}

std::string move_by(const Finding& finding) {
  if (!finding.change_db || !std::isfinite(*finding.change_db)) return "";
  const auto amount = digits(std::abs(change_to_show(*finding.change_db)), 1) + " dB";
  if (finding.remedy.find(amount) != std::string::npos || finding.why.find(amount) != std::string::npos) return "";
  std::string text = (*finding.change_db < 0 ? "down by " : "up by ") + amount;
  if (finding.true_peak_after_db && std::isfinite(*finding.true_peak_after_db))
    text += "; true peak is then " + figure(*finding.true_peak_after_db, Unit::dbtp, 1);
  return text;
}

std::string rate_text(int sample_rate) { return base::shortest(sample_rate / 1000.0) + " kHz"; }

std::string depth_text(const Facts& facts) {
  const bool pcm = facts.encoding.starts_with("PCM");
  if (facts.bit_depth && (pcm || facts.encoding.empty())) return std::to_string(*facts.bit_depth) + "-bit";
  if (facts.encoding == "float 32-bit") return "32-bit float";
  if (facts.encoding == "float 64-bit") return "64-bit float";
  std::string text = base::for_terminal(facts.encoding);
  if (facts.bit_depth && text.find("bit") == std::string::npos) text += " " + std::to_string(*facts.bit_depth) + "-bit";
  return text;
}

std::string facts_line(const Facts& facts) {
  std::vector<std::string> parts;
  if (!facts.container.empty()) parts.push_back(base::for_terminal(facts.container));
  if (facts.sample_rate > 0) parts.push_back(rate_text(facts.sample_rate));
  auto depth = depth_text(facts);
  if (!depth.empty() && depth != facts.container) parts.push_back(std::move(depth));
  if (!facts.channel_layout.empty()) {
    parts.push_back(base::for_terminal(facts.channel_layout));
  } else if (facts.channels > 0) {
    parts.push_back(plural(facts.channels, "channel", "channels"));
  }
  if (facts.sample_rate > 0) parts.push_back(base::clock_time(facts.duration_s, 1));
  std::string text;
  for (const auto& part : parts) text += (text.empty() ? "" : ", ") + part;
  return text;
}

std::string waiver_text(const AppliedWaiver& waiver) {
  std::string text = base::for_terminal(waiver.reason);
  std::string rest = base::for_terminal(waiver.by);
  if (!waiver.until.empty()) rest += (rest.empty() ? "until " : ", until ") + base::for_terminal(waiver.until);
  if (!rest.empty()) text += (text.empty() ? "(" : " (") + rest + ")";
  return text;
}

Counts count(const std::vector<Finding>& findings) {
  Counts counts;
  for (const auto& finding : findings) {
    switch (finding.status) {
      case Status::pass:
        ++counts.pass;
        break;
      case Status::note:
        ++counts.note;
        break;
      case Status::warn:
        ++counts.warn;
        break;
      case Status::fail:
        ++counts.fail;
        break;
      case Status::waived:
        ++counts.waived;
        break;
      case Status::not_measured:
        ++(finding.optional ? counts.optional_not_measured : counts.not_measured);
        break;
    }
  }
  return counts;
}

std::string counts_text(const Counts& counts) {
  std::string text;
  const auto add = [&text](int number, std::string_view word) {
    if (number > 0) text += (text.empty() ? "" : ", ") + std::to_string(number) + " " + std::string(word);
  };
  add(counts.fail, "fail");
  add(counts.not_measured, "not measured");
  add(counts.warn, "warn");
  add(counts.note, counts.note == 1 ? "note" : "notes");
  add(counts.waived, "waived");
  add(counts.pass, "pass");
  return text;
}

std::int64_t speaking_against(const std::vector<Finding>& findings) {
  return std::count_if(findings.begin(), findings.end(), [](const Finding& finding) {
    return finding.status == Status::fail || finding.status == Status::warn || (finding.status == Status::not_measured && !finding.optional);
  });
}

std::string about_the_set(const std::vector<Finding>& findings) {
  const auto many = speaking_against(findings);
  return many == 0 ? std::string() : plural(many, "finding", "findings") + " about the whole set";
}

std::string_view verdict_word(Verdict verdict) {
  switch (verdict) {
    case Verdict::pass:
      return "PASS";
    case Verdict::warn:
      return "WARN";
    case Verdict::fail:
      return "FAIL";
  }
  return "FAIL";
}

std::string_view verdict_meaning(Verdict verdict) {
  switch (verdict) {
    case Verdict::pass:
      return "worth sending";
    case Verdict::warn:
      return "worth sending once you have read the warnings";
    case Verdict::fail:
      return "not worth sending yet";
  }
  return "";
}

std::string path_of(const FileSheet& file) { return file.path.empty() ? "(no name)" : base::for_terminal(file.path); }

std::string plural(std::int64_t count, std::string_view one, std::string_view many) {
  return std::to_string(count) + " " + std::string(count == 1 ? one : many);
}

}  // namespace sendworthy::sheet

namespace sendworthy {

std::string show_value(const Outcome& outcome, Unit unit, int decimals) {
  if (std::holds_alternative<NotMeasured>(outcome)) return "not measured";
  if (std::holds_alternative<NotApplicable>(outcome)) return "not applicable";
  const auto& value = std::get<Value>(outcome);
  if (const auto* real = std::get_if<double>(&value)) return sheet::figure(*real, unit, decimals);
  if (const auto* truth = std::get_if<bool>(&value)) return *truth ? "yes" : "no";
  const auto& text = std::get<std::string>(value);
  return text.empty() ? "none" : base::for_terminal(text);
}

}  // namespace sendworthy
