// sendworthy selftest: the published test signals, measured on this machine.
#include "check/selftest.h"

#include <sendworthy/check.h>

#include <algorithm>
#include <cmath>

#include "base/text.h"
#include "cli/command.h"
#include "cli/json_text.h"
#include "cli/sheet_output.h"

namespace sendworthy::cli {
namespace {

const Manual& manual() {
  static const Manual kManual{
      "selftest",
      "selftest [options]",
      "Synthesises the published test signals (EBU Tech 3341 and 3342, ITU-R BS.1770) at 44.1, 48 and 96 kHz, measures "
      "them here, and prints what is expected, what was read, and what a second, independent meter reads.",
      {
          {"sendworthy selftest", "does this build measure right on this machine?"},
          {"sendworthy selftest --format json -o selftest.json", "the same as data"},
      },
      {
          "Exit codes: 0 every reading of ours lies within its tolerance; 1 one does not (the second meter decides "
          "nothing); 2 the call is wrong; 3 the output could not be written; 130 interrupted.",
      }};
  return kManual;
}

std::string padded(std::string_view text, int width) {
  return std::string(text) + std::string(static_cast<std::size_t>(std::max(width - base::columns(text), 0)), ' ');
}

std::string right(std::string_view text, int width) {
  return std::string(static_cast<std::size_t>(std::max(width - base::columns(text), 0)), ' ') + std::string(text);
}

std::string signed_text(double value) {
  // Sums such as -23.1 + 23 leave dust behind the last digit.
  const double rounded = std::round(value * 1000) / 1000;
  return (rounded < 0 ? "-" : "+") + base::shortest(std::abs(rounded));
}

/// "±0.1", "+0.2/-0.4"; the way the standards print it.
std::string tolerance(const SelftestRow& row) {
  if (!std::isfinite(row.lower) && !std::isfinite(row.upper)) return "-";
  if (!std::isfinite(row.lower)) return "<= " + base::fixed(row.upper, 1);
  if (!std::isfinite(row.upper)) return ">= " + base::fixed(row.lower, 1);
  const auto above = signed_text(row.upper - row.expected), below = signed_text(row.lower - row.expected);
  if (above.substr(1) == below.substr(1) && above[0] == '+') return "±" + above.substr(1);
  return above + "/" + below;
}

/// The place of `text` in `known`, from 1; added where it is new.
std::size_t number_of(const std::string& text, std::vector<std::string>& known) {
  const auto found = std::find(known.begin(), known.end(), text);
  const auto index = static_cast<std::size_t>(found - known.begin());
  if (found == known.end()) known.push_back(text);
  return index + 1;
}

constexpr int kName = 36, kNumber = 9, kTolerance = 11, kSource = 4;

std::string heading(int sample_rate) {
  return base::shortest(sample_rate / 1000.0) + " kHz\n  " + padded("signal and reading", kName) +
         right("expected", kNumber) + right("read", kNumber) + right("second", kNumber) +
         right("tolerance", kTolerance) + right("src", kSource) + "\n";
}

std::string table(const std::vector<SelftestRow>& rows) {
  std::string text;
  std::vector<std::string> sources, remarks;
  int sample_rate = 0;
  std::string signal;
  for (const auto& row : rows) {
    if (row.sample_rate != sample_rate) {
      sample_rate = row.sample_rate;
      signal.clear();
      text += (text.empty() ? "" : "\n") + heading(sample_rate);
    }
    if (row.signal != signal) {
      signal = row.signal;
      text += paragraph(signal, 2);
    }
    // "-22.99 (100 ms grid)" becomes "-22.99*" with the remark below the table.
    auto second = row.second;
    if (const auto remark = second.find(" ("); remark != std::string::npos && second.back() == ')') {
      const auto stars = number_of(second.substr(remark + 2, second.size() - remark - 3), remarks);
      second = second.substr(0, remark) + std::string(stars, '*');
    }
    const auto source = "[" + std::to_string(number_of(row.source, sources)) + "]";
    const auto names = base::wrap(row.quantity + ", " + row.unit, kName - 4);
    text += (row.passed ? "    " : "!   ") + padded(names.empty() ? "" : names[0], kName - 2) +
            right(base::fixed(row.expected, 2), kNumber) + right(base::fixed(row.read, 2), kNumber) +
            right(second, kNumber) + right(tolerance(row), kTolerance) + right(source, kSource) + "\n";
    for (std::size_t i = 1; i < names.size(); ++i) text += "      " + names[i] + "\n";
  }
  text += "\nSources\n";
  for (std::size_t i = 0; i < sources.size(); ++i) text += "  [" + std::to_string(i + 1) + "] " + sources[i] + "\n";
  text += "second: another library's reading of the same signal, for comparison only\n";
  for (std::size_t i = 0; i < remarks.size(); ++i) text += std::string(i + 1, '*') + ": " + remarks[i] + "\n";
  return text + "\n";
}

std::string summary(const std::vector<SelftestRow>& rows) {
  const auto passed = std::count_if(rows.begin(), rows.end(), [](const SelftestRow& row) { return row.passed; });
  const auto text = std::to_string(passed) + " of " + std::to_string(rows.size()) + " readings within tolerance";
  return text + (passed == std::ssize(rows) ? ".\n" : "; the others are marked with \"!\".\n");
}

/// Binary fractions print as -23.130000000000003; five decimals are more than any of the sources gives.
double tidy(double value) { return std::round(value * 1e5) / 1e5; }

std::string as_json(const std::vector<SelftestRow>& rows, bool passed) {
  JsonText json;
  json.open_object();
  json.member("schema", 1);
  json.member("version", version());
  json.member("passed", passed);
  json.key("rows");
  json.open_array();
  for (const auto& row : rows) {
    json.open_object();
    json.member("signal", row.signal);
    json.member("sample_rate", row.sample_rate);
    json.member("quantity", row.quantity);
    json.member("expected", tidy(row.expected));
    json.member("lower", tidy(row.lower));
    json.member("upper", tidy(row.upper));
    json.key("read");
    json.number(row.read, 3);
    json.member("second", row.second);
    json.member("unit", row.unit);
    json.member("source", row.source);
    json.member("passed", row.passed);
    json.close_object();
  }
  json.close_array();
  json.close_object();
  return json.finished();
}

}  // namespace

int run_selftest(const Words& words) {
  OutputOptions output;
  RunOptions run;
  Arguments arguments(manual());
  output.declare(arguments, {"text", "json"});
  output.declare_quiet(arguments);
  run.declare(arguments);
  if (const auto parsed = arguments.parse(words); !parsed) return report(parsed.error(), "selftest");
  if (arguments.help_wanted()) return print_help(arguments);
  if (const auto valid = output.validate(arguments, {}); !valid) return report(valid.error(), "selftest");
  if (const auto valid = run.validate(arguments, {}); !valid) return report(valid.error(), "selftest");

  const auto rows = sendworthy::run_selftest(run.jobs);
  const bool passed =
      !rows.empty() && std::all_of(rows.begin(), rows.end(), [](const auto& row) { return row.passed; });
  const int code = passed ? kExitPass : kExitFail;
  std::string text;
  if (output.format == "json") {
    text = as_json(rows, passed);
  } else {
    text = (output.quiet ? std::string() : table(rows)) + summary(rows);
  }
  const auto written = deliver(output.path, text);
  return written ? code : std::max(code, report(written.error(), "selftest"));
}

}  // namespace sendworthy::cli
