namespace CameraBridge.Dicom.Dictionary;

/// <summary>The SOP classes and well-known instances that the code names (PS3.6 Annex A, edition 2025e); the registry has them all.</summary>
public static class SopClasses
{
    /// <summary>The identifier with this keyword.</summary>
    public const string
        DermoscopicPhotographyImageStorage = "1.2.840.10008.5.1.4.1.1.77.1.7",
        EncapsulatedPDFStorage = "1.2.840.10008.5.1.4.1.1.104.1",
        MediaStorageDirectoryStorage = "1.2.840.10008.1.3.10",
        ModalityPerformedProcedureStep = "1.2.840.10008.3.1.2.3.3",
        ModalityPerformedProcedureStepRetrieve = "1.2.840.10008.3.1.2.3.4",
        ModalityWorklistInformationModelFind = "1.2.840.10008.5.1.4.31",
        OphthalmicPhotography8BitImageStorage = "1.2.840.10008.5.1.4.1.1.77.1.5.1",
        PatientRootQueryRetrieveInformationModelFind = "1.2.840.10008.5.1.4.1.2.1.1",
        SecondaryCaptureImageStorage = "1.2.840.10008.5.1.4.1.1.7",
        StorageCommitmentPushModel = "1.2.840.10008.1.20.1",
        StorageCommitmentPushModelInstance = "1.2.840.10008.1.20.1.1",
        StudyRootQueryRetrieveInformationModelFind = "1.2.840.10008.5.1.4.1.2.2.1",
        Verification = "1.2.840.10008.1.1",
        VideoEndoscopicImageStorage = "1.2.840.10008.5.1.4.1.1.77.1.1.1",
        VideoPhotographicImageStorage = "1.2.840.10008.5.1.4.1.1.77.1.4.1",
        VLEndoscopicImageStorage = "1.2.840.10008.5.1.4.1.1.77.1.1",
        VLPhotographicImageStorage = "1.2.840.10008.5.1.4.1.1.77.1.4";

    /// <summary>The application context of all DICOM associations (PS3.7 Annex A).</summary>
    public const string ApplicationContextName = "1.2.840.10008.3.1.1.1";
}
