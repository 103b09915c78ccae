using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.UpperLayer;
using CameraBridge.Tests.Peers;
using Xunit;

namespace CameraBridge.Tests.Dicom.UpperLayer;

/// <summary>What is proposed and what follows from the answers: PS3.8 sections 7.1.1.13 and 7.1.1.14, PS3.7 annex D.3.3 (from memory).</summary>
public sealed class NegotiationTests
{
    private const string Commitment = SopClasses.StorageCommitmentPushModel;
    private const string Implicit = TransferSyntaxes.ImplicitVRLittleEndian;
    private const string Explicit = TransferSyntaxes.ExplicitVRLittleEndian;
    private const string Jpeg = TransferSyntaxes.JPEGBaseline8Bit;

    [Fact]
    public void Each_pair_of_class_and_syntax_gets_a_context_of_its_own_with_an_odd_id()
    {
        AssociateRequestPdu request = Negotiation.Propose(Options(
            new(SopClasses.VLPhotographicImageStorage, Jpeg), new(SopClasses.VLPhotographicImageStorage, Explicit),
            new(SopClasses.VLPhotographicImageStorage, Jpeg)));

        Assert.Equal([1, 3], request.Contexts.Select(context => (int)context.Id));
        Assert.All(request.Contexts, context => Assert.Single(context.TransferSyntaxUIDs));
    }

    [Fact]
    public void A_hundred_and_twenty_eight_contexts_fit_and_no_more()
    {
        ContextProposal[] proposals = [.. Enumerable.Range(0, 129).Select(i => new ContextProposal($"1.2.{i}", Implicit))];

        Options(proposals[..128]).Validate();
        Assert.Equal(255, Negotiation.Propose(Options(proposals[..128])).Contexts[^1].Id);
        Assert.Throws<ArgumentException>(() => Options(proposals).Validate());
    }

    [Fact]
    public void Nothing_is_said_of_roles_and_operations_where_the_defaults_are_wanted()
    {
        AssociateRequestPdu request = Negotiation.Propose(Options(new ContextProposal(Commitment, Implicit)));

        Assert.Empty(request.User.Roles);
        Assert.Null(request.User.Operations);
    }

    [Theory]
    [InlineData(ContextRoles.User | ContextRoles.Provider, ContextRoles.User | ContextRoles.Provider, ContextRoles.User | ContextRoles.Provider)]
    [InlineData(ContextRoles.Provider, ContextRoles.Provider, ContextRoles.Provider)]
    [InlineData(ContextRoles.User | ContextRoles.Provider, ContextRoles.User, ContextRoles.User)]
    [InlineData(ContextRoles.Provider, ContextRoles.None, ContextRoles.None)]
    public void The_requestor_has_the_roles_that_it_wished_and_was_granted(ContextRoles wished, ContextRoles granted, ContextRoles expected)
    {
        AssociateRequestPdu request = Negotiation.Propose(Options(new ContextProposal(Commitment, Implicit, wished)));
        AssociateAcceptPdu accept = ScriptedConnection.Acceptance(request);

        Agreement agreement = Negotiation.Conclude(request, accept with { User = accept.User with { Roles = [new RoleSelection(Commitment, granted)] } });

        Assert.Equal(expected, Assert.Single(agreement.Accepted).LocalRoles);
    }

    [Fact]
    public void Without_an_answer_to_a_role_selection_the_requestor_is_the_user()
    {
        AssociateRequestPdu request = Negotiation.Propose(Options(new ContextProposal(Commitment, Implicit, ContextRoles.Provider)));

        Agreement agreement = Negotiation.Conclude(request, ScriptedConnection.Acceptance(request));

        Assert.Equal(ContextRoles.User, Assert.Single(agreement.Accepted).LocalRoles);
    }

    [Fact]
    public void The_acceptor_grants_only_roles_that_it_offers_and_takes_the_other_side_itself()
    {
        // As an archive does that reports storage commitment on a new association and wants to be its provider.
        AssociateRequestPdu request = Negotiation.Propose(Options(new ContextProposal(Commitment, Implicit, ContextRoles.User | ContextRoles.Provider)));
        AcceptorOptions options = new() { Offers = [new ContextOffer(Commitment, [Implicit], ContextRoles.Provider)] };

        (AssociateAcceptPdu accept, Agreement agreement) = Negotiation.Answer(request, options);

        Assert.Equal(new RoleSelection(Commitment, ContextRoles.Provider), Assert.Single(accept.User.Roles));
        Assert.Equal(ContextRoles.User, Assert.Single(agreement.Accepted).LocalRoles);
    }

    [Fact]
    public void The_acceptor_without_a_role_selection_is_the_provider()
    {
        AssociateRequestPdu request = Negotiation.Propose(Options(new ContextProposal(Commitment, Implicit)));

        Agreement agreement = Negotiation.Answer(request, new AcceptorOptions { Offers = [new ContextOffer(Commitment, [Implicit])] }).Agreement;

        Assert.Equal(ContextRoles.Provider, Assert.Single(agreement.Accepted).LocalRoles);
    }

    [Theory]
    [InlineData(8, 1, 3, 1, 3)]
    [InlineData(0, 1, 3, 1, 3)]
    [InlineData(8, 1, 0, 1, 8)]
    public void The_window_is_the_smaller_of_both_and_0_is_no_limit(ushort invoked, ushort performed, ushort grantedInvoked, ushort grantedPerformed, ushort expected)
    {
        AssociateRequestPdu request = Negotiation.Propose(Options(new ContextProposal(Commitment, Implicit)) with
        {
            OperationsInvoked = invoked,
            OperationsPerformed = performed,
        });

        Agreement agreement = Negotiation.Conclude(
            request, ScriptedConnection.Acceptance(request, operations: new OperationsWindow(grantedInvoked, grantedPerformed)));

        Assert.Equal(expected, agreement.Window.Invoked);
    }

    [Fact]
    public void Without_an_answer_to_the_window_it_is_one()
    {
        AssociateRequestPdu request = Negotiation.Propose(Options(new ContextProposal(Commitment, Implicit)) with { OperationsInvoked = 8 });

        Assert.Equal(OperationsWindow.Synchronous, Negotiation.Conclude(request, ScriptedConnection.Acceptance(request)).Window);
    }

    [Fact]
    public void An_acceptance_with_a_syntax_that_was_not_proposed_is_none()
    {
        AssociateRequestPdu request = Negotiation.Propose(Options(new ContextProposal(SopClasses.VLPhotographicImageStorage, Jpeg)));
        AssociateAcceptPdu accept = ScriptedConnection.Acceptance(request) with { Contexts = [new ContextResultItem(1, ContextResult.Acceptance, Implicit)] };

        Agreement agreement = Negotiation.Conclude(request, accept);

        Assert.Empty(agreement.Accepted);
        Assert.Equal(ContextResult.TransferSyntaxesNotSupported, Assert.Single(agreement.Refused).Result);
    }

    [Fact]
    public void A_context_that_the_answer_leaves_out_is_refused()
    {
        AssociateRequestPdu request = Negotiation.Propose(Options(new ContextProposal(Commitment, Implicit)));

        Agreement agreement = Negotiation.Conclude(request, ScriptedConnection.Acceptance(request) with { Contexts = [] });

        Assert.Equal(ContextResult.NotAnswered, Assert.Single(agreement.Refused).Result);
    }

    [Fact]
    public void The_acceptor_takes_the_syntax_it_likes_best_and_says_why_it_takes_none()
    {
        AssociateRequestPdu request = new("OURS", "THEIRS",
        [
            new RequestedContextItem(1, Commitment, [Implicit, Explicit]),
            new RequestedContextItem(3, Commitment, [Jpeg]),
            new RequestedContextItem(5, "1.2.3", [Implicit]),
        ], new UserInformation());

        AssociateAcceptPdu accept = Negotiation.Answer(request, new AcceptorOptions { Offers = [new ContextOffer(Commitment, [Explicit, Implicit])] }).Accept;

        // PS3.8 Table 9-18: 0 acceptance, 4 transfer syntaxes not supported, 3 abstract syntax not supported.
        Assert.Equal([(1, 0), (3, 4), (5, 3)], accept.Contexts.Select(context => ((int)context.Id, (int)context.Result)));
        Assert.Equal(Explicit, accept.Contexts[0].TransferSyntaxUID);
    }

    private static AssociationOptions Options(params ContextProposal[] contexts) => new()
    {
        Host = "127.0.0.1",
        Port = 104,
        CallingAETitle = "CAMERABRIDGE",
        CalledAETitle = "PACS1",
        Contexts = contexts,
    };
}
