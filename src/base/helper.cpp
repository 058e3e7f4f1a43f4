#include "base/helper.h"

#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <chrono>
#include <cmath>
#include <cstdlib>
#include <cstring>
#include <system_error>
#include <thread>
#include <utility>

#include "base/child.h"
#include "base/text.h"

extern char** environ;

namespace sendworthy::base {
namespace {

using Clock = std::chrono::steady_clock;

constexpr std::size_t kPiece = 64 << 10;
constexpr std::size_t kMostErrorText = 4096;
constexpr int kPollMs = 100;  // how soon an interruption is seen

class Descriptor {
 public:
  explicit Descriptor(int number = -1) : number_(number) {}
  Descriptor(Descriptor&& other) noexcept : number_(std::exchange(other.number_, -1)) {}
  Descriptor& operator=(Descriptor&& other) noexcept {
    std::swap(number_, other.number_);
    return *this;
  }
  Descriptor(const Descriptor&) = delete;
  Descriptor& operator=(const Descriptor&) = delete;
  ~Descriptor() { close(); }
  void close() {
    if (number_ >= 0) ::close(std::exchange(number_, -1));
  }
  [[nodiscard]] int number() const { return number_; }
  [[nodiscard]] bool is_open() const { return number_ >= 0; }

 private:
  int number_;
};

struct Pipe {
  Descriptor read, write;
  // Not below 3: the child lays its ends on 0, 1 and 2, one after the other.
  bool open() {
    std::array<int, 2> ends{};
    if (::pipe2(ends.data(), O_CLOEXEC) != 0) return false;
    read = Descriptor(ends[0]);
    write = Descriptor(ends[1]);
    for (auto* end : {&read, &write}) {
      if (end->number() > 2) continue;
      Descriptor moved(::fcntl(end->number(), F_DUPFD_CLOEXEC, 3));
      if (!moved.is_open()) return false;
      *end = std::move(moved);
    }
    return true;
  }
};

// Never FFREPORT: it makes ffmpeg write a log file wherever it stands.
std::vector<char*> environment() {
  std::vector<char*> list;
  for (char** entry = environ; entry != nullptr && *entry != nullptr; ++entry) {
    if (!std::string_view(*entry).starts_with("FFREPORT=")) list.push_back(*entry);
  }
  list.push_back(nullptr);
  return list;
}

std::string first_line(std::string_view text) {
  text = text.substr(0, text.find('\n'));
  constexpr std::size_t kShown = 160;
  return for_terminal(text.substr(0, kShown));
}

class Helper {
 public:
  Helper(std::string program, std::string_view input, const HelperLimits& limits, const std::atomic<bool>* stop,
         const std::function<void(std::string_view)>& take)
      : program_(std::move(program)), input_(input), limits_(limits), stop_(stop), hand_on_(take) {}
  Helper(const Helper&) = delete;
  Helper& operator=(const Helper&) = delete;
  ~Helper() { end(); }

  Result<void> begin_stream(const std::vector<std::string>& arguments, int input) {
    stream_input_ = Descriptor(::fcntl(input, F_DUPFD_CLOEXEC, 3));
    if (!stream_input_.is_open() || !start(arguments))
      return broken("could not be started: " + std::generic_category().message(errno));
    stream_input_.close();
    return {};
  }

  // Waits until something was handed on; false: it ended, and well. Time that the caller takes between calls does not count.
  Result<bool> next() {
    const auto before = output_bytes_;
    const auto begun = Clock::now();
    auto moved = begun;
    while (output_.is_open() || errors_.is_open()) {
      const auto now = Clock::now();
      if (std::chrono::duration<double>(now - moved).count() > limits_.quiet_s)
        return broken("gave no sign of life for " + shortest(limits_.quiet_s) + " s and was ended");
      if (waited_s_ + std::chrono::duration<double>(now - begun).count() > limits_.total_s)
        return broken("was not done after " + shortest(limits_.total_s) + " s and was ended");
      if (!exchange(moved)) return broken("wrote more than it may and was ended");
      if (output_bytes_ > before) {
        waited_s_ += std::chrono::duration<double>(Clock::now() - begun).count();
        return true;
      }
    }
    if (child_ > 0) {
      if (const auto ended = conclude(); !ended) return tl::unexpected(ended.error());
    }
    return false;
  }

  [[nodiscard]] const std::string& said() const { return error_text_; }

  Result<void> run(const std::vector<std::string>& arguments) {
    if (!start(arguments)) return broken("could not be started: " + std::generic_category().message(errno));
    const auto begun = Clock::now();
    auto moved = begun;
    while (output_.is_open() || errors_.is_open()) {
      if (stop_ != nullptr && stop_->load(std::memory_order_relaxed)) return fail(ErrorCode::interrupted, "interrupted");
      const auto now = Clock::now();
      if (std::chrono::duration<double>(now - moved).count() > limits_.quiet_s)
        return broken("gave no sign of life for " + shortest(limits_.quiet_s) + " s and was ended");
      if (std::chrono::duration<double>(now - begun).count() > limits_.total_s)
        return broken("was not done after " + shortest(limits_.total_s) + " s and was ended");
      if (!exchange(moved)) return broken("wrote more than it may and was ended");
    }
    return conclude();
  }

 private:
  tl::unexpected<Error> broken(const std::string& what) const {
    const auto said = first_line(error_text_);
    return fail(ErrorCode::unreadable, for_terminal(program_) + " " + what + (said.empty() ? "" : ": " + said));
  }

  bool start(const std::vector<std::string>& arguments) {
    Pipe in, out, err;
    if (!in.open() || !out.open() || !err.open()) return false;
    // All memory is asked for before the fork: afterwards another thread's lock may stay held for ever.
    std::vector<char*> words{program_.data()};
    auto copy = arguments;
    for (auto& argument : copy) words.push_back(argument.data());
    words.push_back(nullptr);
    auto variables = environment();
    const bool stream = stream_input_.is_open();
    ChildStart start{program_.c_str(), words.data(), variables.data(), stream ? stream_input_.number() : in.read.number(), out.write.number(), err.write.number()};
    if (stream) start.bounds = ChildBounds{static_cast<std::int64_t>(limits_.memory_bytes), static_cast<std::int64_t>(std::ceil(limits_.total_s))};
    child_ = start_child(start);
    if (child_ < 0) return false;
    to_ = std::move(in.write);
    output_ = std::move(out.read);
    errors_ = std::move(err.read);
    for (const auto* end : {&to_, &output_, &errors_}) ::fcntl(end->number(), F_SETFL, O_NONBLOCK);
    if (input_.empty()) to_.close();
    return true;
  }

  // One wait, and what can be moved after it. False: too much came.
  bool exchange(Clock::time_point& moved) {
    std::array<pollfd, 3> ends{};
    nfds_t count = 0;
    for (const auto* end : {&output_, &errors_, &to_}) {
      if (end->is_open()) ends[count++] = {end->number(), static_cast<short>(end == &to_ ? POLLOUT : POLLIN), 0};
    }
    if (::poll(ends.data(), count, kPollMs) <= 0) return true;
    for (nfds_t i = 0; i < count; ++i) {
      if (ends[i].revents == 0) continue;
      if (ends[i].fd == to_.number()) {
        if (feed()) moved = Clock::now();
      } else {
        const bool is_output = ends[i].fd == output_.number();
        if (take(is_output ? output_ : errors_, is_output)) moved = Clock::now();
      }
    }
    return output_bytes_ <= limits_.output_bytes;
  }

  bool feed() {
    const auto wrote = write_quietly(input_.substr(0, kPiece));
    if (wrote < 0) {
      if (errno != EAGAIN && errno != EINTR) to_.close();  // it reads no more; its exit code says whether that is a fault
      return false;
    }
    input_.remove_prefix(static_cast<std::size_t>(wrote));
    if (input_.empty()) to_.close();
    return wrote > 0;
  }

  // A reader that has gone must not end this process: SIGPIPE is held back in this thread, and taken away if it came.
  ssize_t write_quietly(std::string_view piece) {
    sigset_t pipe_only, before, pending;
    ::sigemptyset(&pipe_only);
    ::sigaddset(&pipe_only, SIGPIPE);
    ::sigpending(&pending);
    const bool already = ::sigismember(&pending, SIGPIPE) == 1;
    ::pthread_sigmask(SIG_BLOCK, &pipe_only, &before);
    const auto wrote = ::write(to_.number(), piece.data(), piece.size());
    const int error = errno;
    if (wrote < 0 && error == EPIPE && !already) {
      constexpr timespec kNow{};
      while (::sigtimedwait(&pipe_only, nullptr, &kNow) < 0 && errno == EINTR) {
      }
    }
    ::pthread_sigmask(SIG_SETMASK, &before, nullptr);
    errno = error;
    return wrote;
  }

  bool take(Descriptor& from, bool is_output) {
    buffer_.resize(kPiece);
    const auto got = ::read(from.number(), buffer_.data(), buffer_.size());
    if (got < 0) {
      if (errno != EAGAIN && errno != EINTR) from.close();
      return false;
    }
    if (got == 0) {
      from.close();
      return true;
    }
    const std::string_view piece(buffer_.data(), static_cast<std::size_t>(got));
    if (is_output) {
      output_bytes_ += piece.size();
      if (output_bytes_ <= limits_.output_bytes) hand_on_(piece);
      return true;
    }
    error_text_.append(piece.substr(0, kMostErrorText - std::min(error_text_.size(), kMostErrorText)));
    return false;  // words alone are no sign of life
  }

  Result<void> conclude() {
    to_.close();
    // Its pipes are closed; what still runs then has a moment to end by itself.
    int status = 0;
    const auto deadline = Clock::now() + std::chrono::duration<double>(std::min(limits_.quiet_s, 5.0));
    for (;;) {
      const auto ended = ::waitpid(child_, &status, WNOHANG);
      if (ended == child_) break;
      if (ended < 0 && errno != EINTR) {
        child_ = -1;
        return broken("ended, and how is not known");
      }
      if (Clock::now() > deadline) return broken("closed its output and did not end; it was ended");
      std::this_thread::sleep_for(std::chrono::milliseconds(1));
    }
    child_ = -1;
    if (WIFSIGNALED(status) && WTERMSIG(status) == SIGKILL) return broken("could not be started, or was killed");
    if (WIFSIGNALED(status)) return broken("crashed (signal " + std::to_string(WTERMSIG(status)) + ")");
    if (WEXITSTATUS(status) != 0) return broken("failed (exit code " + std::to_string(WEXITSTATUS(status)) + ")");
    return {};
  }

  void end() {
    if (child_ > 0) end_child(child_);
    child_ = -1;
  }

  std::string program_;
  std::string_view input_;
  const HelperLimits limits_;
  const std::atomic<bool>* stop_;
  pid_t child_ = -1;
  Descriptor to_, output_, errors_, stream_input_;
  double waited_s_ = 0;
  const std::function<void(std::string_view)>& hand_on_;
  std::size_t output_bytes_ = 0;
  std::string error_text_;
  std::vector<char> buffer_;
};

}  // namespace

std::optional<std::string> find_program(std::string_view name) {
  const char* folders = std::getenv("PATH");
  std::string_view rest = folders == nullptr ? std::string_view{} : folders;
  while (!rest.empty()) {
    const auto folder = rest.substr(0, rest.find(':'));
    rest.remove_prefix(std::min(folder.size() + 1, rest.size()));
    if (!folder.starts_with('/')) continue;
    auto path = std::string(folder) + "/" + std::string(name);
    struct stat info {};
    if (::stat(path.c_str(), &info) == 0 && S_ISREG(info.st_mode) && ::access(path.c_str(), X_OK) == 0) return path;
  }
  return std::nullopt;
}

Result<std::string> run_helper(const std::string& program, const std::vector<std::string>& arguments,
                               std::string_view input, const HelperLimits& limits, const std::atomic<bool>* stop) {
  std::string output;
  const auto done = run_helper(program, arguments, input, limits, stop, [&](std::string_view piece) { output.append(piece); });
  if (!done) return tl::unexpected(done.error());
  return output;
}

Result<void> run_helper(const std::string& program, const std::vector<std::string>& arguments, std::string_view input,
                        const HelperLimits& limits, const std::atomic<bool>* stop,
                        const std::function<void(std::string_view)>& take) {
  return Helper(program, input, limits, stop, take).run(arguments);
}

struct HelperStream::Impl {
  Impl(const std::string& program, const HelperLimits& limits)
      : take([this](std::string_view piece) { waiting.assign(piece); }), helper(program, {}, limits, nullptr, take) {}

  std::string waiting;  // one piece: nothing is read from the pipe before it was taken
  std::size_t taken = 0;
  std::optional<Error> error;
  const std::function<void(std::string_view)> take;
  Helper helper;
};

HelperStream::HelperStream(std::unique_ptr<Impl> impl) : impl_(std::move(impl)) {}
HelperStream::HelperStream(HelperStream&&) noexcept = default;
HelperStream& HelperStream::operator=(HelperStream&&) noexcept = default;
HelperStream::~HelperStream() = default;

Result<HelperStream> HelperStream::start(const std::string& program, const std::vector<std::string>& arguments,
                                         const InputFile& input, const HelperLimits& limits) {
  auto impl = std::make_unique<Impl>(program, limits);
  if (const auto begun = impl->helper.begin_stream(arguments, input.descriptor()); !begun) return tl::unexpected(begun.error());
  return HelperStream(std::move(impl));
}

Result<std::size_t> HelperStream::read(void* to, std::size_t bytes) {
  auto& [waiting, taken, error, take, helper] = *impl_;
  std::size_t done = 0;
  while (done < bytes) {
    if (taken == waiting.size()) {
      if (error) break;
      waiting.clear();
      taken = 0;
      const auto more = helper.next();
      if (!more) error = more.error();
      if (!more || !*more) break;
    }
    const auto count = std::min(bytes - done, waiting.size() - taken);
    std::memcpy(static_cast<char*>(to) + done, waiting.data() + taken, count);
    taken += count;
    done += count;
  }
  if (done == 0 && error) return tl::unexpected(*error);
  return done;
}

std::string_view HelperStream::said() const { return impl_->helper.said(); }

}  // namespace sendworthy::base
